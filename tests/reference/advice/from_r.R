# Writes predicted effects at given variances, Laplace likelihoods and smoothing splines: Rscript from_r.R
# Data are read from the CSV beside it (datasets.R); standard deviations and smoothing parameters are chosen, not fitted.
suppressMessages({library(lme4); library(jsonlite)})
read <- function(name) read.csv(paste0(name, ".csv"), colClasses = c(trial = "character", site = "character", block = "character"))
write <- function(name, found) writeLines(toJSON(found, digits = I(15), auto_unbox = TRUE, pretty = TRUE), paste0(name, ".json"))
software <- list(R = paste(R.version$major, R.version$minor, sep = "."), lme4 = as.character(packageVersion("lme4")))
free <- lmerControl(check.nlev.gtr.1 = "ignore", check.nobs.vs.nlev = "ignore", check.nobs.vs.nRE = "ignore")

# A linear mixed model at given standard deviations, by the order of its terms; REML counts the mean as unknown.
at <- function(formula, data, sd, residual) {
  parsed <- lFormula(formula, data, REML = TRUE, control = free)
  deviance <- do.call(mkLmerDevfun, parsed)
  terms <- names(parsed$reTrms$cnms)
  theta <- unlist(sd[vapply(seq_along(terms), function(i) paste(terms[i], parsed$reTrms$cnms[[i]]), "")]) / residual
  stopifnot(length(theta) == length(parsed$reTrms$theta))
  deviance(theta)
  fit <- mkMerMod(environment(deviance), list(par = theta, fval = deviance(theta), feval = 1, conv = 0, message = ""), parsed$reTrms, fr = parsed$fr)
  effects <- ranef(fit, condVar = FALSE)
  list(mean = unname(fixef(fit)), fitted = unname(fitted(fit)),
       effects = lapply(effects, function(one) as.list(setNames(one[[1]], rownames(one)))))
}

oats <- read("oats")
oats$one <- "all"
oats$line <- (oats$dose / 0.6 - 0.5) * sqrt(12)
oats_sd <- list("block:cultivar (Intercept)" = 10, "block (Intercept)" = 14, "block line" = 5, "cultivar (Intercept)" = 9, "one line" = 40)
# Names of terms with the same grouping factor are told apart by lme4 with a number.
block <- oats$block
oats$again <- block
names(oats_sd)[3] <- "again line"
found <- list(oats = c(list(sd = list(bucket = 13, whole_plot = 10, garden = 14, garden_dose = 5, cultivar = 9, slope = 40)),
  at(weight_g ~ 1 + (1 | block:cultivar) + (1 | block) + (0 + line | again) + (1 | cultivar) + (0 + line | one), oats, oats_sd, 13)))

barley <- read("barley")
lasting <- 0.6
sd <- list(bucket = 20, garden = 45, garden_cultivar = 14, season = 7, cultivar = 15, season_level = 60, lasting = lasting)
residual <- sqrt(sd$bucket^2 + (1 - lasting) * sd$garden_cultivar^2)
found$barley <- c(list(sd = sd), at(
  weight_g ~ 1 + (1 | cultivar:site) + (1 | cultivar:trial) + (1 | site:trial) + (1 | cultivar) + (1 | site) + (1 | trial), barley,
  list("cultivar:site (Intercept)" = sd$garden_cultivar * sqrt(lasting), "cultivar:trial (Intercept)" = sd$season,
       "site:trial (Intercept)" = sd$garden * sqrt(1 - lasting), "cultivar (Intercept)" = sd$cultivar,
       "site (Intercept)" = sd$garden * sqrt(lasting), "trial (Intercept)" = sd$season_level), residual))
write("predicted_effects", c(list(kind = "predicted effects at given standard deviations", software = software), found))

# Restricted maximum likelihood of the usual mixed model of variety trials, of one year and of both.
reml <- function(formula, data) {
  fit <- lmer(formula, data, control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10)))
  variance <- as.data.frame(VarCorr(fit))
  list(mean = unname(fixef(fit)), variance = as.list(setNames(variance$vcov, variance$grp)),
       cultivar = as.list(setNames(ranef(fit)$cultivar[[1]], rownames(ranef(fit)$cultivar))))
}
several <- weight_g ~ 1 + (1 | cultivar) + (1 | site) + (1 | trial) + (1 | site:trial) + (1 | cultivar:site) + (1 | cultivar:trial)
write("barley_reml", list(kind = "restricted maximum likelihood", software = software,
  data = list(file = "barley.csv", source = "Immer, F. R., Hayes, H. K. & Powers, L. (1934). Statistical determination of barley varietal adaptation. Journal of the American Society of Agronomy 26, 403-419 (lattice); yields times 5."),
  "1931" = reml(weight_g ~ 1 + (1 | cultivar) + (1 | site), barley[barley$trial == "1931", ]), both = reml(several, barley)))

# Laplace's log likelihood of binomial counts at given standard deviations and fixed effects.
data(cbpp, package = "lme4")
write.csv(cbpp, "cbpp.csv", row.names = FALSE, quote = FALSE)
laplace <- function(formula, theta, fixed, offset) {
  cbpp$known <- offset
  parsed <- glFormula(formula, cbpp, family = binomial, offset = known, control = glmerControl(check.nobs.vs.nRE = "ignore"))
  deviance <- do.call(mkGlmerDevfun, parsed)
  deviance <- updateGlmerDevfun(deviance, parsed$reTrms)
  # Found twice from where the first ended, and tightly, so that the conditional modes are settled.
  environment(deviance)$tolPwrss <- 1e-12
  value <- deviance(c(theta, fixed))
  value <- deviance(c(theta, fixed))
  fit <- mkMerMod(environment(deviance), list(par = c(theta, fixed), fval = value, feval = 1, conv = 0, message = ""), parsed$reTrms, fr = parsed$fr)
  list(theta = theta, fixed = fixed, log_likelihood = -value / 2, logLik = as.numeric(logLik(fit)),
       logit = unname(predict(fit)), effects = lapply(ranef(fit, condVar = FALSE), function(one) as.list(setNames(one[[1]], rownames(one)))))
}
counts <- cbind(incidence, size - incidence) ~ 1
beta <- c(-1.4, -1.0, -1.1, -1.6)
known <- c(0, beta[2:4])[as.integer(cbpp$period)]
cases <- list(
  herds = laplace(update(counts, . ~ . + (1 | herd)), 0.64, beta[1], known),
  wide = laplace(update(counts, . ~ . + (1 | herd)), 2.5, beta[1], known),
  crossed = laplace(update(counts, . ~ . + (1 | herd) + (1 | period)), c(0.7, 0.9), -2.2, 0 * known))
write("laplace", c(list(kind = "Laplace likelihood at given standard deviations and fixed effects", software = software,
  data = list(file = "cbpp.csv", source = "Lesnoff, M. et al. (2004). Within-herd spread of contagious bovine pleuropneumonia in Ethiopian highlands. Preventive Veterinary Medicine 64, 27-40 (lme4).")), cases))

# Cubic smoothing splines: sum of squares + lambda times the integral of the squared second derivative on 0 to 1.
mcycle <- MASS::mcycle
write.csv(mcycle, "mcycle.csv", row.names = FALSE)
at_times <- seq(min(mcycle$times), max(mcycle$times), length.out = 25)
splines <- lapply(c(1e-6, 1e-4, 1e-2), function(lambda) {
  fit <- smooth.spline(mcycle$times, mcycle$accel, lambda = lambda, all.knots = TRUE, tol = 1e-9)
  list(lambda = fit$lambda, df = fit$df, at = at_times, fitted = predict(fit, at_times)$y)
})
write("smoothing_spline", list(kind = "smoothing spline", software = list(R = software$R), cases = splines,
  data = list(file = "mcycle.csv", source = "Silverman, B. W. (1985). Some aspects of the spline smoothing approach to non-parametric curve fitting. Journal of the Royal Statistical Society B 47, 1-52 (MASS).")))
