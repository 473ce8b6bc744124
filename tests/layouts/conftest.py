"""How the property tests of the layouts are run."""

from hypothesis import settings

# A busy machine is no fault of the code.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
