# Expected values of mixed models with random slopes and correlated effects, and of a large crossed one:
# Rscript from_r.R, in this folder. Each case is fitted by lme4, its parameters polished by Fisher scoring with dense
# matrices until the score is nil, and lme4, lmerTest and pbkrtest then work at the polished values.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(nlme); library(jsonlite)})

num <- function(x) signif(x, 15)

write_case <- function(name, data, formula, terms, title, source, shipped, polish = TRUE) {
  write.csv(data, paste0(name, ".csv"), row.names = FALSE, quote = TRUE)
  data <- read.csv(paste0(name, ".csv"), stringsAsFactors = FALSE,
                   colClasses = ifelse(sapply(data, is.numeric), "numeric", "character"))
  for (column in names(data)) if (is.character(data[[column]])) data[[column]] <- factor(data[[column]])
  fits <- lapply(c(TRUE, FALSE), function(reml) fit_polished(data, formula, reml, polish))
  m <- fits[[1]]$model; d <- fits[[1]]
  X <- getME(m, "X"); beta <- fixef(m)
  out <- list(case = name, title = title, data = list(file = paste0(name, ".csv"), rows = nrow(data), source = source,
    shipped_with = shipped), model = list(r_formula = paste(deparse(formula), collapse = ""), random = terms$random, fixed = terms$fixed),
    software = versions(), singular = isSingular(m, tol = 1e-5),
    restricted = list(criterion = num(d$criterion - as.numeric(determinant(crossprod(X))$modulus)),
                      parameters = as.list(setNames(num(d$theta), terms$parameters))),
    maximum = list(criterion = num(fits[[2]]$criterion),
                   parameters = as.list(setNames(num(fits[[2]]$theta), terms$parameters)),
                   fixed = num(unname(fixef(fits[[2]]$model)))))
  if (!isTRUE(terms$no_tests)) {
    va <- vcovAdj(m)
    # lmerTest moves the model's parameters: it has a model of its own.
    tests <- as.data.frame(anova(as_lmerModLmerTest(fit_polished(data, formula, TRUE, polish)$model), type = 3,
                                 ddf = "Satterthwaite"))
    out$fixed <- lapply(seq_along(beta), function(i) {
      L <- matrix(as.numeric(seq_along(beta) == i), 1)
      list(term = names(beta)[i], estimate = num(beta[[i]]), se_kenward_roger = num(sqrt(va[i, i])),
           df_kenward_roger = num(Lb_ddf(as.numeric(L), vcov(m), va)))
    })
    out$tests <- lapply(rownames(tests), function(term) {
      at <- attr(terms(m), "term.labels") == term
      columns <- which(attr(X, "assign") == which(at))
      L <- diag(length(beta))[columns, , drop = FALSE]
      if (!is.null(terms$contrast[[term]])) L <- terms$contrast[[term]]
      kr <- KRmodcomp(m, L)$test["Ftest", ]
      list(term = gsub(" ", "", term), contrast = L, f_kenward_roger = num(kr$stat), df_kenward_roger = num(kr$ddf),
           f_satterthwaite = num(tests[term, "F value"]), df_satterthwaite = num(tests[term, "DenDF"]))
    })
    out$random_effects <- d$predicted
  }
  write_json(out, paste0(name, ".json"), auto_unbox = TRUE, digits = NA, pretty = TRUE, matrix = "rowmajor")
  cat(name, "score left", d$left, "lme4 moved", d$moved, "singular", out$singular, "\n")
}

versions <- function() {
  each <- sapply(c("lme4", "lmerTest", "pbkrtest", "nlme"), function(p) as.character(packageVersion(p)))
  c(list(R = paste(R.version$major, R.version$minor, sep = ".")), as.list(each))
}

# Variances and covariances of lme4's terms in the order of ours: of each term its variances, then its covariances.
pairs_of <- function(a) rbind(cbind(seq_len(a), seq_len(a)), if (a > 1) t(combn(a, 2)))

fit_polished <- function(data, formula, reml, polish) {
  # lme4 writes on its arrays: each fit has its own. It puts terms with more levels first; so do `random` and
  # `parameters` below.
  lf <- lFormula(formula, data, control = lmerControl(check.conv.singular = "ignore"))
  lf$REML <- reml; devfun <- do.call(mkLmerDevfun, lf)
  start <- lf$reTrms$theta
  opt <- nloptwrap(start, devfun, lower = lf$reTrms$lower, upper = rep(Inf, length(start)),
                   control = list(xtol_abs = 1e-12, ftol_abs = 1e-14, xtol_rel = 1e-12, ftol_rel = 1e-15, maxeval = 20000))
  m <- mkMerMod(environment(devfun), opt, lf$reTrms, fr = lf$fr)
  y <- getME(m, "y"); X <- getME(m, "X"); n <- length(y)
  Zs <- getME(m, "Ztlist"); cn <- lf$reTrms$cnms; k <- 0; V_i <- list(); theta <- c(); at <- 1
  sigma2 <- sigma(m)^2; vc <- VarCorr(m)
  layout <- list()
  for (t in seq_along(cn)) {
    a <- length(cn[[t]])
    parts <- lapply(seq_len(a), function(p) t(as.matrix(Zs[[at + p - 1]]))); at <- at + a
    S <- matrix(as.numeric(vc[[t]]), a)
    for (r in seq_len(nrow(pairs_of(a)))) {
      i <- pairs_of(a)[r, 1]; j <- pairs_of(a)[r, 2]
      v <- parts[[i]] %*% t(parts[[j]])
      V_i <- c(V_i, list(if (i == j) v else v + t(v))); theta <- c(theta, S[i, j])
    }
    layout[[t]] <- list(parts = parts, a = a, levels = levels(lf$reTrms$flist[[attr(lf$reTrms$flist, "assign")[t]]]))
  }
  V_i <- c(V_i, list(diag(n))); theta <- c(theta, sigma2); first <- theta
  left <- NA
  state <- function(theta) {
    V <- Reduce(`+`, Map(`*`, theta, V_i)); R <- chol(V); Vi <- chol2inv(R)
    XV <- crossprod(X, Vi); A <- XV %*% X; Phi <- solve(A); P <- Vi - t(XV) %*% Phi %*% XV
    list(V = V, Vi = Vi, Phi = Phi, P = P, Py = P %*% y,
         criterion = 2 * sum(log(diag(R))) + as.numeric(t(y) %*% P %*% y) + (n - if (reml) ncol(X) else 0) * log(2 * pi) +
           if (reml) as.numeric(determinant(A)$modulus) else 0)
  }
  s <- state(theta)
  if (polish) {
    for (step in 1:60) {
      O <- if (reml) s$P else s$Vi
      products <- lapply(V_i, function(v) O %*% v)
      score <- sapply(seq_along(V_i), function(i) (sum(s$Py * (V_i[[i]] %*% s$Py)) - sum(diag(products[[i]]))) / 2)
      info <- outer(seq_along(V_i), seq_along(V_i), Vectorize(function(i, j) sum(products[[i]] * t(products[[j]])) / 2))
      left <- max(abs(score) / sqrt(diag(info)))
      if (left < 1e-11) break
      theta <- theta + solve(info, score); s <- state(theta)
    }
    # The polished values in lme4's own parameters.
    relative <- c(); at <- 1
    for (t in seq_along(layout)) {
      a <- layout[[t]]$a; pr <- pairs_of(a); S <- matrix(0, a, a)
      for (r in seq_len(nrow(pr))) { S[pr[r, 1], pr[r, 2]] <- S[pr[r, 2], pr[r, 1]] <- theta[at]; at <- at + 1 }
      L <- t(chol(S / theta[length(theta)])); relative <- c(relative, L[lower.tri(L, diag = TRUE)])
      layout[[t]]$S <- S
    }
    opt$par <- relative; opt$fval <- devfun(relative)
    m <- mkMerMod(environment(devfun), opt, lf$reTrms, fr = lf$fr)
  } else for (t in seq_along(layout)) layout[[t]]$S <- matrix(as.numeric(vc[[t]]), layout[[t]]$a)
  m@call <- as.call(list(quote(lmer), formula = formula, data = quote(data), REML = reml))
  predicted <- list()
  for (t in seq_along(layout)) {
    l <- layout[[t]]; rows <- list()
    for (g in seq_along(l$levels)) {
      Z <- sapply(l$parts, function(z) z[, g]); if (l$a == 1) Z <- matrix(Z, ncol = 1)
      u <- l$S %*% t(Z) %*% s$Py
      se <- sqrt(pmax(diag(l$S - l$S %*% t(Z) %*% s$P %*% Z %*% l$S), 0))
      rows[[g]] <- list(level = l$levels[g], effect = num(as.numeric(u)), se = num(se))
    }
    predicted[[t]] <- rows
  }
  list(model = m, theta = theta, criterion = s$criterion, left = left, moved = max(abs(theta / first - 1)),
       predicted = predicted)
}

text <- function(data, columns) { for (c in columns) data[[c]] <- as.character(data[[c]]); as.data.frame(data) }
belenky <- "Belenky, G. et al. (2003). Journal of Sleep Research 12, 1-12."
sleep <- text(lme4::sleepstudy, "Subject")
write_case("sleepstudy_correlated", sleep, Reaction ~ Days + (Days | Subject),
  list(random = list("Subject with Days"), fixed = "Reaction ~ Days",
       parameters = c("Subject", "Days by Subject", "Subject with Days", "residual")),
  "A level and a slope for each subject, correlated", belenky, "lme4 (sleepstudy)")
write_case("sleepstudy_independent", sleep, Reaction ~ Days + (1 | Subject) + (0 + Days | Subject),
  list(random = list("Subject", "Days by Subject"), fixed = "Reaction ~ Days",
       parameters = c("Subject", "Days by Subject", "residual")),
  "A level and a slope for each subject, independent", belenky, "lme4 (sleepstudy)")
set.seed(1)
write_case("sleepstudy_unbalanced", sleep[-sample(180, 50), ], Reaction ~ Days + (Days | Subject),
  list(random = list("Subject with Days"), fixed = "Reaction ~ Days",
       parameters = c("Subject", "Days by Subject", "Subject with Days", "residual")),
  "The same with 50 rows lost", belenky, "lme4 (sleepstudy), 50 rows drawn by set.seed(1) left out")

potthoff <- "Potthoff, R. F. & Roy, S. N. (1964). Biometrika 51, 313-326."
ortho <- text(as.data.frame(nlme::Orthodont)[, c("distance", "age", "Subject", "Sex")], c("Subject", "Sex"))
write_case("orthodont_slopes", ortho, distance ~ age * Sex + (age | Subject),
  list(random = list("Subject with age"), fixed = "distance ~ age * Sex",
       parameters = c("Subject", "age by Subject", "Subject with age", "residual"),
       contrast = list(age = matrix(c(0, 1, 0, 0.5), 1), Sex = matrix(c(0, 0, 1, 0), 1))),
  "Growth by sex; ages far from nought, so that levels and slopes are strongly correlated", potthoff, "nlme (Orthodont)")

boys <- text(as.data.frame(nlme::Oxboys)[, c("Subject", "age", "height")], "Subject")
boys$age_squared <- boys$age^2
goldstein <- "Goldstein, H. (1987). Multilevel Models in Educational and Social Research, p. 19. Griffin."
write_case("oxboys_three_parts", boys, height ~ age + age_squared + (age + age_squared | Subject),
  list(random = list("Subject with age, age_squared"), fixed = "height ~ age + age_squared",
       parameters = c("Subject", "age by Subject", "age_squared by Subject", "Subject with age",
                      "Subject with age_squared", "age with age_squared by Subject", "residual")),
  "A level and two slopes, all correlated", goldstein, "nlme (Oxboys); age_squared is the square of age")

rats <- text(as.data.frame(nlme::BodyWeight)[, c("weight", "Time", "Rat", "Diet")], c("Rat", "Diet"))
write_case("bodyweight_diets", rats, weight ~ Time * Diet + (Time | Rat),
  list(random = list("Rat with Time"), fixed = "weight ~ Time * Diet",
       parameters = c("Rat", "Time by Rat", "Rat with Time", "residual"),
       contrast = list(Time = matrix(c(0, 1, 0, 0, 1/3, 1/3), 1), Diet = rbind(c(0, 0, 1, 0, 0, 0), c(0, 0, 0, 1, 0, 0)))),
  "Three diets, slopes of rats", "Hand, D. & Crowder, M. (1996). Practical Longitudinal Data Analysis, table A.1. Chapman and Hall.",
  "nlme (BodyWeight)")

pixel <- text(as.data.frame(nlme::Pixel)[, c("Dog", "Side", "day", "pixel")], c("Dog", "Side"))
pixel$day_squared <- pixel$day^2
write_case("pixel_two_levels", pixel, pixel ~ day + day_squared + (day | Dog) + (1 | Dog:Side),
  list(random = list("Dog:Side", "Dog with day"), fixed = "pixel ~ day + day_squared",
       parameters = c("Dog:Side", "Dog", "day by Dog", "Dog with day", "residual")),
  "Slopes of dogs, levels of their sides", "Pinheiro, J. & Bates, D. (2000). Mixed-Effects Models in S and S-PLUS, p. 42. Springer.",
  "nlme (Pixel); day_squared is the square of day")

# At the edge: lme4's parameters as they are, since scoring would leave the edge.
wafer <- text(as.data.frame(nlme::Wafer)[, c("Wafer", "Site", "voltage", "current")], c("Wafer", "Site"))
wafer$voltage_squared <- wafer$voltage^2
write_case("wafer_singular", wafer,
  current ~ voltage + voltage_squared + (voltage | Wafer) + (voltage | Wafer:Site),
  list(random = list("Wafer:Site with voltage", "Wafer with voltage"), fixed = "current ~ voltage + voltage_squared",
       parameters = c("Wafer:Site", "voltage by Wafer:Site", "Wafer:Site with voltage", "Wafer", "voltage by Wafer",
                      "Wafer with voltage", "residual"), no_tests = TRUE),
  "A correlation of 1 on the lower of two levels",
  "Pinheiro, J. & Bates, D. (2000). Mixed-Effects Models in S and S-PLUS, p. 172. Springer.",
  "nlme (Wafer); voltage_squared is the square of voltage", polish = FALSE)
dialyzer <- text(as.data.frame(nlme::Dialyzer)[, c("Subject", "pressure", "rate")], "Subject")
write_case("dialyzer_singular", dialyzer, rate ~ pressure + (pressure | Subject),
  list(random = list("Subject with pressure"), fixed = "rate ~ pressure",
       parameters = c("Subject", "pressure by Subject", "Subject with pressure", "residual"), no_tests = TRUE),
  "A correlation of -1", "Vonesh, E. F. & Carter, R. L. (1992). Biometrics 48, 1-17.", "nlme (Dialyzer)", polish = FALSE)

# Unlike variances of the residual, by nlme.
m <- lme(distance ~ age * Sex, read.csv("orthodont_slopes.csv"), ~ age | Subject, weights = varIdent(form = ~ 1 | Sex),
         control = lmeControl(tolerance = 1e-12, msTol = 1e-14, niterEM = 200, maxIter = 500, msMaxIter = 500))
S <- getVarCov(m); sd <- m$sigma * coef(m$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)
X <- model.matrix(distance ~ age * Sex, read.csv("orthodont_slopes.csv"))
write_json(list(software = versions(), r_call = paste(deparse(m$call), collapse = ""),
  criterion = num(-2 * as.numeric(logLik(m)) - as.numeric(determinant(crossprod(X))$modulus)),
  parameters = list("Subject" = num(S[1, 1]), "age by Subject" = num(S[2, 2]), "Subject with age" = num(S[1, 2]),
                    "residual:Female" = num(sd[["Female"]]^2), "residual:Male" = num(sd[["Male"]]^2)),
  fixed = num(unname(fixef(m)))), "nlme_unlike_residuals.json", auto_unbox = TRUE, digits = NA, pretty = TRUE)

inst <- lme4::InstEval[lme4::InstEval$s %in% 1:60, c("s", "d", "service", "y")]
inst <- text(inst, c("s", "d", "service"))
write_case("insteval_crossed", inst, y ~ service + (1 | s) + (1 | d),
  list(random = list("d", "s"), fixed = "y ~ service", parameters = c("d", "s", "residual")),
  "Students crossed with teachers", "Eidgenossische Technische Hochschule Zurich, ratings of lectures.",
  "lme4 (InstEval), students 1 to 60")
