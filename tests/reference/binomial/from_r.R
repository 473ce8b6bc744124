# Writes cbpp.csv, verbal.csv, heads.csv and binomial.json beside it: Rscript from_r.R
# Logistic mixed models by lme4::glmer, Laplace's approximation and adaptive quadrature. Where glmer ends by itself its
# parameters are good to three or four digits; so its own deviance is followed on, with its inner steps settled tightly,
# to where its gradient (numDeriv) is nil, and standard errors come from the Hessian there.
suppressMessages({library(lme4); library(jsonlite); library(numDeriv)})
software <- list(R = paste(R.version$major, R.version$minor, sep = "."), lme4 = as.character(packageVersion("lme4")),
  numDeriv = as.character(packageVersion("numDeriv")))

data(cbpp, package = "lme4")
cbpp$record <- seq_len(nrow(cbpp))
write.csv(cbpp, "cbpp.csv", row.names = FALSE, quote = FALSE)

# Verbal aggression: the first 40 persons of 316; yes and perhaps count as came.
data(VerbAgg, package = "lme4")
verbal <- subset(VerbAgg, as.integer(as.character(id)) <= 40)
verbal <- data.frame(id = as.character(verbal$id), item = verbal$item, behaviour = verbal$btype, situation = verbal$situ, came = as.integer(verbal$r2 == "Y"))
write.csv(verbal, "verbal.csv", row.names = FALSE, quote = FALSE)

# A trial as we lay them out: 6 gardens, 3 blocks, 4 treatments, 4 heads a bucket, of which some have no record.
set.seed(20261130)
heads <- expand.grid(treatment = c("t1", "t2", "t3", "t4"), block = c("1", "2", "3"), site = letters[1:6], stringsAsFactors = FALSE)
heads$bucket <- sprintf("b%02d", seq_len(nrow(heads)))
heads$recorded <- sample(c(4, 4, 4, 3, 2), nrow(heads), replace = TRUE)
logit <- c(t1 = 1.2, t2 = 0.6, t3 = 1.8, t4 = 0.9)[heads$treatment] + rep(rnorm(6, 0, 0.9), each = 12) +
  rep(rnorm(18, 0, 0.4), each = 4) + rnorm(nrow(heads), 0, 0.5)
heads$usable <- rbinom(nrow(heads), heads$recorded, plogis(logit))
heads <- heads[c("bucket", "site", "block", "treatment", "recorded", "usable")]
write.csv(heads, "heads.csv", row.names = FALSE, quote = FALSE)

tight <- glmerControl(optimizer = "bobyqa", tolPwrss = 1e-10, optCtrl = list(rhoend = 1e-8, maxfun = 1e5), calc.derivs = FALSE,
  check.nobs.vs.nlev = "ignore", check.nobs.vs.nRE = "ignore", check.conv.singular = "ignore")

fitted_by <- function(formula, data, points, ours) {
  fit <- glmer(formula, data, family = binomial, nAGQ = points, control = tight)
  deviance <- update(fit, devFunOnly = TRUE)
  at <- c(getME(fit, "theta"), fixef(fit))
  terms <- length(getME(fit, "theta"))
  free <- c(at[seq_len(terms)] > 1e-4, rep(TRUE, length(at) - terms))
  # The determinant is that of the step before the last: the second time begins where the first ended.
  inner <- environment(deviance)
  value <- function(some) {
    full <- at; full[free] <- some; full[!free] <- 0
    deviance(full)
    inner$lp0 <- inner$resp$eta
    deviance(full)
  }
  some <- at[free]
  for (step in 1:6) {
    gradient <- grad(value, some); hessian <- hessian(value, some)
    move <- solve(hessian, gradient)
    some <- some - move
    if (max(abs(move)) < 1e-9) break
  }
  at[free] <- some; at[!free] <- 0
  covariance <- 2 * solve(hessian(value, some))
  # Shares on average over the levels of all random terms, at the distinct rows of the fixed part; errors by the delta method.
  rows <- unique(getME(fit, "X"))
  shares <- function(some) {
    full <- at; full[free] <- some; full[!free] <- 0
    sd <- sqrt(sum(full[seq_len(terms)]^2))
    vapply(rows %*% full[-seq_len(terms)], function(eta)
      integrate(function(z) plogis(eta + sd * z) * dnorm(z), -10, 10, rel.tol = 1e-12)$value, 0)
  }
  slopes <- jacobian(shares, some)
  marginal <- list(share = I(shares(some)), se = I(sqrt(diag(slopes %*% covariance %*% t(slopes)))))
  deviance(at)
  fixed <- seq_along(some) > sum(free[seq_len(terms)])
  parsed <- glFormula(formula, data, family = binomial, control = tight)
  value(some)
  fit <- mkMerMod(inner, list(par = at, fval = deviance(at), feval = 1, conv = 0, message = ""), parsed$reTrms, fr = parsed$fr)
  list(points = points, formula = ours$formula, random = I(ours$random), trials = ours$trials,
    r_formula = paste(deparse(formula), collapse = " "),
    standard_deviations = as.list(setNames(unname(at[seq_len(terms)]), names(getME(fit, "cnms")))),
    terms = I(names(fixef(fit))), estimates = I(unname(at[-seq_len(terms)])), standard_errors = I(unname(sqrt(diag(covariance)))[fixed]),
    deviance = value(some), log_likelihood = as.numeric(logLik(fit)), largest_gradient = max(abs(grad(value, some))),
    shares_of_distinct_rows = marginal,
    effects = lapply(ranef(fit, condVar = TRUE), function(one)
      list(level = I(rownames(one)), effect = I(one[[1]]), sd = I(sqrt(as.vector(attr(one, "postVar")))))))
}

herds <- cbind(incidence, size - incidence) ~ period + (1 | herd)
of_herds <- function(random) list(formula = "incidence ~ period", random = random, trials = "size")
of_persons <- function(right, random) list(formula = paste("came ~", right), random = random, trials = NULL)
came <- cbind(usable, recorded - usable) ~ treatment
of_heads <- function(random) list(formula = "usable ~ treatment", random = random, trials = "recorded")
cases <- list(
  herds = fitted_by(herds, cbpp, 1, of_herds("herd")),
  herds_5 = fitted_by(herds, cbpp, 5, of_herds("herd")),
  herds_25 = fitted_by(herds, cbpp, 25, of_herds("herd")),
  records = fitted_by(update(herds, . ~ . + (1 | record)), cbpp, 1, of_herds(c("herd", "record"))),
  persons_items = fitted_by(came ~ behaviour + situation + (1 | id) + (1 | item), verbal, 1,
    of_persons("behaviour + situation", c("id", "item"))),
  persons_25 = fitted_by(came ~ behaviour * situation + (1 | id), verbal, 25, of_persons("behaviour * situation", "id")),
  gardens = fitted_by(update(came, . ~ . + (1 | site)), heads, 1, of_heads("site")),
  gardens_5 = fitted_by(update(came, . ~ . + (1 | site)), heads, 5, of_heads("site")),
  gardens_25 = fitted_by(update(came, . ~ . + (1 | site)), heads, 25, of_heads("site")),
  nested = fitted_by(update(came, . ~ . + (1 | site) + (1 | site:block) + (1 | bucket)), heads, 1,
    of_heads(c("site", "site:block", "bucket"))))
writeLines(toJSON(list(kind = "logistic mixed models", software = software, data = list(
  cbpp = "Lesnoff, M. et al. (2004). Within-herd spread of contagious bovine pleuropneumonia in Ethiopian highlands. Preventive Veterinary Medicine 64, 27-40 (lme4: cbpp).",
  verbal = "De Boeck, P. & Wilson, M. (2004). Explanatory item response models. Springer (lme4: VerbAgg, the first 40 persons).",
  heads = "Invented in this script, seed 20261130."), cases = cases), digits = I(15), auto_unbox = TRUE, pretty = TRUE, null = "null"), "binomial.json")
