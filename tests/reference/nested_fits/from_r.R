# Writes machines.csv, pastes.csv, orthodont.csv, girls.csv, oxboys.csv and nested_fits.json beside it: Rscript from_r.R
# Likelihoods, criteria, likelihood ratios and predictions for new rows, by lme4, nlme and emmeans at tightly settled optima.
suppressMessages({library(lme4); library(nlme); library(emmeans); library(lmerTest); library(jsonlite)})
emm_options(lmer.df = "kenward-roger")
software <- c(list(R = paste(R.version$major, R.version$minor, sep = ".")),
  lapply(c(lme4 = "lme4", nlme = "nlme", lmerTest = "lmerTest", pbkrtest = "pbkrtest", emmeans = "emmeans"),
    function(name) as.character(packageVersion(name))))
write <- function(data, name) write.csv(data, paste0(name, ".csv"), row.names = FALSE, quote = FALSE)
as_factors <- function(data, columns) { for (name in columns) data[[name]] <- factor(as.character(data[[name]])); data }

machines <- as_factors(as.data.frame(nlme::Machines), c("Worker", "Machine"))[-c(2, 3, 9, 11, 22, 23, 30, 41), ]
pastes <- as_factors(lme4::Pastes[c("strength", "batch", "cask")], c("batch", "cask"))
orthodont <- as_factors(as.data.frame(nlme::Orthodont), c("Subject", "Sex"))
oxboys <- as_factors(as.data.frame(nlme::Oxboys)[c("Subject", "age", "height")], "Subject")
girls <- droplevels(subset(orthodont, Sex == "Female", c("Subject", "age", "distance")))
write(machines, "machines"); write(girls, "girls"); write(pastes, "pastes"); write(orthodont, "orthodont"); write(oxboys, "oxboys")
cbpp <- lme4::cbpp
cbpp$record <- factor(seq_len(nrow(cbpp)))

tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 0.02, rhoend = 1e-11, maxfun = 1e6), calc.derivs = FALSE,
  check.conv.singular = "ignore")
by_lmer <- function(formula, data, ml = TRUE) {
  first <- lme4::lmer(formula, data, REML = !ml, control = tight)
  for (round in 1:3) first <- update(first, start = getME(first, "theta"))
  first
}
by_lme <- function(fixed, ...) do.call(lme, list(fixed, ..., control = lmeControl(tolerance = 1e-12, msTol = 1e-14, msMaxIter = 500, maxIter = 500, opt = "nlminb")))
told <- function(fit, x, ml, ours, source) c(ours, list(method = if (ml) "ml" else "reml", source = source,
  log_likelihood = as.numeric(logLik(fit)), aic = AIC(fit), bic = BIC(fit), parameters = attr(logLik(fit), "df"),
  log_determinant_XtX = as.numeric(determinant(crossprod(x))$modulus)))
lmer_told <- function(formula, data, ml, ours) {
  fit <- by_lmer(formula, data, ml)
  told(fit, getME(fit, "X"), ml, ours, paste("lme4:", paste(deparse(formula), collapse = " ")))
}
asked <- function(data, formula, random, ...) list(data = data, formula = formula, random = I(random), ...)

models <- list(
  machines_none = lm(score ~ Machine, machines),
  machines_worker = score ~ Machine + (1 | Worker),
  machines_both = score ~ Machine + (1 | Worker) + (1 | Worker:Machine),
  machines_mean = score ~ 1 + (1 | Worker) + (1 | Worker:Machine),
  pastes_batch = strength ~ 1 + (1 | batch),
  pastes_cask = strength ~ 1 + (1 | batch:cask),
  pastes_both = strength ~ 1 + (1 | batch:cask) + (1 | batch),
  oxboys_level = height ~ age + (1 | Subject),
  oxboys_apart = height ~ age + (1 | Subject) + (0 + age | Subject),
  oxboys_together = height ~ age + (age | Subject),
  girls_level = distance ~ age + (1 | Subject),
  girls_apart = distance ~ age + (1 | Subject) + (0 + age | Subject),
  girls_together = distance ~ age + (age | Subject))
ours <- list(
  machines_none = asked("machines", "score ~ Machine", character()),
  machines_worker = asked("machines", "score ~ Machine", "Worker"),
  machines_both = asked("machines", "score ~ Machine", c("Worker", "Worker:Machine")),
  machines_mean = asked("machines", "score ~ 1", c("Worker", "Worker:Machine")),
  pastes_batch = asked("pastes", "strength ~ 1", "batch"),
  pastes_cask = asked("pastes", "strength ~ 1", "batch:cask"),
  pastes_both = asked("pastes", "strength ~ 1", c("batch:cask", "batch")),
  oxboys_level = asked("oxboys", "height ~ age", "Subject"),
  oxboys_apart = asked("oxboys", "height ~ age", c("Subject", "age by Subject")),
  oxboys_together = asked("oxboys", "height ~ age", "Subject with age"),
  girls_level = asked("girls", "distance ~ age", "Subject"),
  girls_apart = asked("girls", "distance ~ age", c("Subject", "age by Subject")),
  girls_together = asked("girls", "distance ~ age", "Subject with age"))
fits <- list()
for (name in names(models)) for (ml in c(TRUE, FALSE)) {
  label <- paste(name, if (ml) "ml" else "reml", sep = "_")
  if (name == "machines_none") {
    fit <- gls(score ~ Machine, machines, method = if (ml) "ML" else "REML")
    row <- told(fit, model.matrix(score ~ Machine, machines), ml, ours[[name]], "nlme: gls(score ~ Machine)")
    row$bic <- if (ml) BIC(fit) else NULL  # gls counts N - p rows by REML
    # gls has the restricted likelihood without log|X'X|: as lme4 leaves it out
    fits[[label]] <- row
  } else fits[[label]] <- lmer_told(models[[name]], get(ours[[name]]$data), ml, ours[[name]])
}
# A residual variance by sex: nlme; by REML its BIC counts N - p rows.
for (ml in c(TRUE, FALSE)) for (by in c(FALSE, TRUE)) {
  fit <- by_lme(distance ~ age * Sex, data = orthodont, random = ~ 1 | Subject, method = if (ml) "ML" else "REML",
    weights = if (by) varIdent(form = ~ 1 | Sex) else NULL)
  row <- told(fit, model.matrix(distance ~ age * Sex, orthodont), ml,
    asked("orthodont", "distance ~ age * Sex", "Subject", residual_by = if (by) "Sex" else NULL),
    paste("nlme: lme(distance ~ age * Sex, random = ~ 1 | Subject", if (by) ", weights = varIdent(form = ~ 1 | Sex))" else ")"))
  if (!ml) row$bic <- NULL
  fits[[paste("orthodont", if (by) "by_sex" else "alike", if (ml) "ml" else "reml", sep = "_")]] <- row
}
tested <- function(small, large) {
  table <- anova(by_lmer(models[[small]], get(ours[[small]]$data)), by_lmer(models[[large]], get(ours[[large]]$data)), refit = FALSE)
  list(small = paste0(small, "_ml"), large = paste0(large, "_ml"), chi_square = table$Chisq[2], df = table$Df[2], p = table$`Pr(>Chisq)`[2])
}
ratios <- list(tested("machines_worker", "machines_both"), tested("machines_mean", "machines_both"), tested("pastes_cask", "pastes_both"),
  tested("pastes_batch", "pastes_both"), tested("oxboys_level", "oxboys_apart"), tested("oxboys_apart", "oxboys_together"),
  tested("oxboys_level", "oxboys_together"), tested("girls_level", "girls_apart"), tested("girls_level", "girls_together"))

# Counts: Laplace's likelihood by glmer.
control <- glmerControl(optimizer = "bobyqa", tolPwrss = 1e-12, optCtrl = list(rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE,
  check.nobs.vs.nlev = "ignore", check.nobs.vs.nRE = "ignore", check.conv.singular = "ignore")
by_glmer <- function(formula) glmer(formula, cbpp, family = binomial, control = control)
counts <- list(mean = cbind(incidence, size - incidence) ~ 1 + (1 | herd), period = cbind(incidence, size - incidence) ~ period + (1 | herd),
  record = cbind(incidence, size - incidence) ~ period + (1 | herd) + (1 | record))
of_counts <- list(mean = c("incidence ~ 1", "herd"), period = c("incidence ~ period", "herd"), record = c("incidence ~ period", "herd", "record"))
glmers <- lapply(counts, by_glmer)
logistic <- list(fits = Map(function(fit, ours) list(formula = ours[1], random = I(ours[-1]), log_likelihood = as.numeric(logLik(fit)),
  aic = AIC(fit), bic = BIC(fit), parameters = attr(logLik(fit), "df")), glmers, of_counts),
  ratios = Map(function(small, large) { table <- anova(glmers[[small]], glmers[[large]])
    list(small = small, large = large, chi_square = table$Chisq[2], df = table$Df[2], p = table$`Pr(>Chisq)`[2]) }, c("mean", "period"), c("period", "record"), USE.NAMES = FALSE))

# Predictions for new rows by restricted likelihood; levels never seen count zero.
predicted <- function(formula, data, new, subsets, ours) {
  fit <- by_lmer(formula, data, ml = FALSE)
  c(ours, list(rows = new, population = I(unname(predict(fit, new, re.form = NA))),
    all = I(unname(predict(fit, new, re.form = NULL, allow.new.levels = TRUE))),
    some = if (length(subsets)) lapply(subsets, function(form) I(unname(predict(fit, new, re.form = form, allow.new.levels = TRUE))))))
}
new_machines <- expand.grid(Worker = c("1", "4", "9"), Machine = c("A", "C"), stringsAsFactors = FALSE)
new_pastes <- data.frame(batch = c("A", "A", "C", "Z"), cask = c("a", "z", "b", "a"), stringsAsFactors = FALSE)
new_oxboys <- data.frame(Subject = c("1", "10", "26", "99"), age = c(-1, 0.25, 1.5, 0.5), stringsAsFactors = FALSE)
population <- function(formula, data, spec, at = list()) {
  table <- as.data.frame(summary(emmeans(lmerTest::lmer(formula, data, control = tight, start = getME(by_lmer(formula, data, FALSE), "theta")),
    spec, at = at, lmer.df = "kenward-roger"), infer = c(TRUE, FALSE)))
  table
}
predictions <- list(
  machines = c(predicted(models$machines_both, machines, new_machines, list(Worker = ~ (1 | Worker)), ours$machines_both),
    list(emmeans = population(models$machines_both, machines, ~ Machine))),
  pastes = predicted(models$pastes_both, pastes, new_pastes, list(batch = ~ (1 | batch)), ours$pastes_both),
  oxboys = c(predicted(models$oxboys_together, oxboys, new_oxboys, list(), ours$oxboys_together),
    list(emmeans = population(models$oxboys_together, oxboys, ~ age, list(age = c(-1, 0.25, 1.5, 0.5))))))
new_girls <- data.frame(Subject = c("F10", "F11", "F12"), age = 15, stringsAsFactors = FALSE)
predictions$girls <- c(predicted(models$girls_together, girls, new_girls, list(), ours$girls_together),
  list(emmeans = population(models$girls_together, girls, ~ age, list(age = 15))))
again <- by_lme(distance ~ age * Sex, data = orthodont, random = ~ 1 | Subject, weights = varIdent(form = ~ 1 | Sex))
new_orthodont <- data.frame(Subject = c("M01", "F03", "M16"), Sex = c("Male", "Female", "Male"), age = c(15, 9, 11), stringsAsFactors = FALSE)
by_level <- predict(again, transform(new_orthodont, Sex = factor(Sex, levels(orthodont$Sex))), level = 0:1)
predictions$orthodont <- c(asked("orthodont", "distance ~ age * Sex", "Subject", residual_by = "Sex"),
  list(rows = new_orthodont, population = I(by_level$predict.fixed), all = I(by_level$predict.Subject)))

writeLines(toJSON(list(kind = "nested fits and predictions", software = software, data = list(
  machines = "Milliken, G. A. & Johnson, D. E. (1992). Analysis of messy data, volume I. Chapman & Hall (nlme: Machines); rows 2, 3, 9, 11, 22, 23, 30 and 41 left out.",
  pastes = "Davies, O. L. & Goldsmith, P. L. (1972). Statistical methods in research and production, 4th edition. Oliver and Boyd (lme4: Pastes).",
  orthodont = "Potthoff, R. F. & Roy, S. N. (1964). A generalized multivariate analysis of variance model useful especially for growth curve problems. Biometrika 51, 313-326 (nlme: Orthodont); girls.csv has the 11 girls.",
  oxboys = "Goldstein, H. (1987). Multilevel models in educational and social research. Oxford University Press (nlme: Oxboys).",
  cbpp = "Lesnoff, M. et al. (2004). Preventive Veterinary Medicine 64, 27-40 (lme4: cbpp; tests/reference/binomial/cbpp.csv)."),
  fits = fits, ratios = ratios, logistic = logistic, predictions = predictions), digits = I(15), auto_unbox = TRUE, pretty = TRUE, null = "null"), "nested_fits.json")
