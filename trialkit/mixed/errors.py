"""What the engine refuses to do, each as one clear sentence."""


class MixedModelError(ValueError):
    """A model that cannot be fitted, or a question that the fit cannot answer."""


class FormulaError(MixedModelError):
    """The formula, or a column that it names, cannot be used."""


class ConfoundedTerm(MixedModelError):
    """A random term that cannot be told apart from another part of the model."""


class NoVariation(MixedModelError):
    """Nothing is left over to estimate a variance from."""


class NotConverged(MixedModelError):
    """The variances did not settle; the message says what was tried."""


class NotEstimable(MixedModelError):
    """A mean or contrast that the data say nothing about."""
