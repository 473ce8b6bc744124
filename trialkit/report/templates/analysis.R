# The analysis of this trial once more, in R, beside the figures that trialkit found (figures.csv).
#
# Run it where the package was unpacked: Rscript analysis.R
# It reads heads.csv and layout.csv as they stand and needs lme4, lmerTest, pbkrtest and emmeans.
# Versions with which it was tried: see README.md. It ends with status 1 if figures differ without a reason.

suppressPackageStartupMessages({
  library(lme4)
  library(lmerTest)
  library(emmeans)
})
emm_options(lmerTest.limit = 1e5, pbkrtest.limit = 1e5)
options(contrasts = c("contr.sum", "contr.poly"), width = 100)
AGREES <- 1e-3 # relative: both ends iterate
# Of days between visits: completed sets drawn here, sweeps to each, and standard errors of drawing that two figures,
# each from draws of its own, may lie apart.
SETS <- 100; SWEEPS <- 60; APART <- 4
MOST_ROWS <- 1500 # of plain matrices

#{SETTINGS}#

text <- function(file) read.csv(file, colClasses = "character", na.strings = "", check.names = FALSE, encoding = "UTF-8")
plain <- function(x) { # a dose is the same whether it was written 2 or 2.0
  number <- suppressWarnings(as.numeric(x))
  ifelse(is.na(number), x, as.character(number))
}

layout <- text("layout.csv")
for (column in treatment_columns) layout[[column]] <- plain(layout[[column]])
layout$treatment <- do.call(paste, c(layout[treatment_columns], sep = " / "))
heads <- text("heads.csv")
heads$weight_g <- as.numeric(heads$weight_g)
if (is.null(heads$marketable)) heads$marketable <- NA
figures <- read.csv("figures.csv", encoding = "UTF-8", colClasses = c(key = "character"))

# One row a head that was weighed.
head_rows <- merge(heads[!is.na(heads$weight_g) & heads$outcome %in% cut, ], layout, by = "bucket")

# One row a bucket: its marketable weight. Lost heads count as nothing; heads without a record are made up for by the
# others of their bucket, and so are harvested heads that nobody weighed.
bucket_rows <- local({
  recorded <- heads[!(heads$outcome %in% says_nothing | is.na(heads$outcome)), ]
  refused <- tolower(recorded$marketable) %in% c("no", "false", "0")
  usable <- recorded$outcome %in% cut & !refused
  per <- split(data.frame(usable = usable, weight = ifelse(usable, recorded$weight_g, NA)), recorded$bucket)
  weight <- vapply(per, function(one) {
    weighed <- sum(!is.na(one$weight))
    if (!any(one$usable)) return(0)
    if (weighed == 0) return(NA_real_)
    sum(one$weight, na.rm = TRUE) * sum(one$usable) / weighed * heads_per_bucket / nrow(one)
  }, 0)
  rows <- merge(layout, data.frame(bucket = names(weight), bucket_weight_g = weight), by = "bucket")
  rows <- rows[!is.na(rows$bucket_weight_g), ]
  best <- tapply(rows$bucket_weight_g, rows$site, max)
  rows[best[rows$site] > 0, ] # a garden where nothing was marketable says nothing of how treatments differ
})

# One row a head with a day: after `lower`, the last day on which it was seen not ready, and by `upper`, when it was cut.
# Where nobody wrote down the former, its garden's last visit before; without any on record the day of the cut is known.
day_rows <- local({
  rows <- merge(heads[heads$outcome %in% c(cut, growing), ], layout, by = "bucket")
  visits <- if (file.exists("visits.csv")) text("visits.csv") else data.frame(site = character(0), visited_on = character(0))
  visits <- visits[!is.na(visits$visited_on), ]
  planted <- as.Date(rows$transplanted_on)
  harvested <- as.Date(rows$harvested_on)
  seen <- as.numeric(as.Date(rows$last_not_ready_on) - planted)
  before <- vapply(seq_len(nrow(rows)), function(i) {
    visited <- as.Date(visits$visited_on[visits$site == rows$site[i]])
    if (!length(visited)) return(NA_real_)
    if (!is.na(harvested[i])) visited <- visited[visited < harvested[i]]
    max(-Inf, as.numeric(visited - planted[i])[visited >= planted[i]], na.rm = TRUE)
  }, 0)
  is_cut <- rows$outcome %in% cut
  rows$upper <- ifelse(is_cut, as.numeric(harvested - planted), Inf)
  rows$lower <- ifelse(is.na(seen), before, seen)
  known <- is_cut & (is.na(rows$lower) | rows$lower > rows$upper)
  rows$lower[which(known)] <- rows$upper[which(known)]
  rows[is.finite(ifelse(is_cut, rows$upper, rows$lower)), ]
})

# The same in degree days: those of each day from the one after transplanting; heads without the weather are left out.
in_degree_days <- function(rows) {
  weather <- text("weather.csv")
  gain <- pmax((as.numeric(weather$t_min_c) + as.numeric(weather$t_max_c)) / 2 - degree_day_base_c, 0)
  names(gain) <- paste(weather$site, as.Date(weather$measured_on))
  for (side in c("lower", "upper")) {
    rows[[side]] <- vapply(seq_len(nrow(rows)), function(i) {
      days <- rows[[side]][i]
      if (is.finite(days)) sum(gain[paste(rows$site[i], as.Date(rows$transplanted_on[i]) + seq_len(days))]) else days
    }, 0)
  }
  rows[!is.na(rows$lower) & !is.na(rows$upper), ]
}

differing <- 0
beside <- function(ours, theirs, excuse = NULL) {
  # Print figures beside each other, found by their key; count those that differ and are not excused. They may differ by
  # `within`, where R's have one, and else by what iterating leaves.
  both <- merge(ours[, c("key", "statistic", "value")], theirs, by = c("key", "statistic"), sort = FALSE)
  if (!nrow(both)) return(invisible())
  names(both)[3:4] <- c("trialkit", "R")
  within <- if (is.null(both$within)) AGREES * pmax(abs(both$R), 1e-8) else both$within
  both$agree <- abs(both$trialkit - both$R) <= within
  shown <- both
  shown$trialkit <- signif(shown$trialkit, 6)
  shown$R <- signif(shown$R, 6)
  if (!is.null(shown$within)) shown$within <- signif(shown$within, 2)
  shown$agree <- ifelse(both$agree, "", "differs")
  print(shown, row.names = FALSE)
  if (any(!both$agree)) {
    if (is.null(excuse)) differing <<- differing + sum(!both$agree) else cat("Rightly so:", excuse, "\n")
  }
}
long <- function(key, ...) {
  columns <- list(...)
  do.call(rbind, lapply(names(columns), function(name) data.frame(key = key, statistic = name, r = columns[[name]])))
}

treatment_model <- function(rows, model) {
  # The model matrix with one joint treatment factor; for each treatment the row that its mean is of.
  formula <- as.formula(paste("~", paste(c(model$fixed, "treatment"), collapse = " + ")))
  X <- model.matrix(formula, rows)
  grid <- expand.grid(lapply(rows[model$fixed], levels), stringsAsFactors = TRUE)
  means <- t(vapply(levels(rows$treatment), function(one) {
    at <- data.frame(treatment = factor(one, levels(rows$treatment)))
    if (length(model$fixed)) at <- merge(grid, at)
    colMeans(model.matrix(formula, at, contrasts.arg = attr(X, "contrasts")))
  }, numeric(ncol(X))))
  list(X = X, means = means)
}
shared_by <- function(rows, terms) {
  # For each random term, which rows share a level of it.
  lapply(terms, function(term) {
    if (term == "residual") return(diag(nrow(rows)))
    tcrossprod(model.matrix(~ 0 + g, list(g = interaction(rows[strsplit(term, ":")[[1]]], drop = TRUE))))
  })
}

by_matrices <- function(rows, model, ours) {
  # Generalised least squares by plain matrices at the variances that trialkit found: its means follow from them, and
  # no restricted likelihood nearby is higher. This checks what lmer cannot: variances below zero.
  groups <- ours[ours$kind == "variance", ]
  fixed <- treatment_model(rows, model)
  y <- rows[[model$response]]
  shared <- shared_by(rows, groups$key)
  criterion <- function(variances) {
    root <- chol(Reduce(`+`, Map(`*`, shared, variances)))
    A <- backsolve(root, fixed$X, transpose = TRUE)
    b <- backsolve(root, y, transpose = TRUE)
    small <- qr(A)
    list(value = 2 * sum(log(diag(root))) + 2 * sum(log(abs(diag(qr.R(small))))) + sum(qr.resid(small, b)^2),
         fixed = qr.coef(small, b))
  }
  best <- criterion(groups$value)
  cat("\nAt trialkit's variances, by plain matrices\n")
  beside(ours[ours$kind == "mean" & ours$statistic == "mean", ],
         long(rownames(fixed$means), mean = drop(fixed$means %*% best$fixed)))
  nearby <- unlist(lapply(seq_along(groups$value), function(i) vapply(c(-1, 1), function(way) {
    moved <- groups$value
    moved[i] <- moved[i] + way * 0.02 * max(abs(groups$value[i]), 0.02 * sum(abs(groups$value)))
    criterion(moved)$value
  }, 0)))
  highest <- all(nearby >= best$value - 1e-6)
  cat(if (highest) "No variances nearby have a higher restricted likelihood.\n" else
    "Variances nearby have a HIGHER restricted likelihood.\n")
  if (!highest) differing <<- differing + 1
}

between_visits <- function(rows, model, ours) {
  # Days that lie between visits. lmer has no like for them, and a survival regression has no such random terms. So days
  # are drawn here between their bounds, at the variances that trialkit found, by other means than its own: one head
  # after the other given all others (Gibbs), in plain matrices. From the completed sets follow means, their covariance
  # (Kenward and Roger's, and Rubin's for the draws) and tests. And the score of the restricted likelihood of what was
  # seen, which is the average of that of the completed sets (Fisher's identity), is zero at the right variances: what
  # one Newton step would make of ours is printed beside them.
  cat("Each figure may differ by `within`:", APART, "standard errors of drawing", completed_sets, "sets there and", SETS, "here.\n")
  groups <- ours[ours$kind == "variance", ]
  fixed <- treatment_model(rows, model)
  X <- fixed$X
  shared <- shared_by(rows, groups$key)
  inverse <- chol2inv(chol(Reduce(`+`, Map(`*`, shared, groups$value))))
  VX <- inverse %*% X
  C <- solve(crossprod(X, VX))
  P <- inverse - VX %*% C %*% t(VX)

  set.seed(1, "Mersenne-Twister", "Inversion", "Rejection")
  ends <- cbind(rows$lower, rows$upper)
  days <- matrix(ifelse(is.finite(rowSums(ends)), rowMeans(ends), pmin(rows$upper, rows$lower + 1)), nrow(rows), SETS)
  days[!is.finite(days)] <- rep(rows$upper - 1, SETS)[!is.finite(days)]
  for (sweep in seq_len(SWEEPS)) for (i in which(rows$lower < rows$upper)) {
    sd <- 1 / sqrt(P[i, i])
    middle <- days[i, ] - drop(P[i, ] %*% days) / P[i, i]
    low <- (rows$lower[i] - middle) / sd
    high <- (rows$upper[i] - middle) / sd
    above <- low > 0 # drawn in the lower tail, where numbers are finer
    from <- pnorm(ifelse(above, -high, low))
    to <- pnorm(ifelse(above, -low, high))
    drawn <- qnorm(from + runif(SETS) * (to - from))
    days[i, ] <- middle + sd * ifelse(above, -drawn, drawn)
  }

  Pd <- P %*% days
  PG <- lapply(shared, function(G) P %*% G)
  pairs <- expand.grid(i = seq_along(shared), j = seq_along(shared))
  information <- matrix(mapply(function(i, j) sum(PG[[i]] * t(PG[[j]])) / 2, pairs$i, pairs$j), length(shared))
  score <- vapply(seq_along(shared), function(i) (colSums(Pd * (shared[[i]] %*% Pd)) - sum(diag(PG[[i]]))) / 2, numeric(SETS))
  newton <- score %*% solve(information)

  # Kenward and Roger (1997): the covariance of the fixed effects with what not knowing the variances adds.
  W <- solve(information)
  slopes <- lapply(shared, function(G) -crossprod(VX, G %*% VX))
  added <- Reduce(`+`, Map(function(i, j) {
    W[i, j] * (crossprod(VX, shared[[i]] %*% inverse %*% shared[[j]] %*% VX) - slopes[[i]] %*% C %*% slopes[[j]])
  }, pairs$i, pairs$j))
  within_sets <- C + 2 * C %*% added %*% C
  effects <- C %*% crossprod(VX, days)
  # Rubin (1987): of a contrast of the fixed effects, from some of the sets.
  between <- function(contrasts, sets) (1 + 1 / completed_sets) * var(t(contrasts %*% effects[, sets]))
  error <- function(contrasts, sets) sqrt(diag(contrasts %*% within_sets %*% t(contrasts) + between(contrasts, sets)))
  scaled <- function(contrasts) { # Kenward and Roger's scale of F
    l <- nrow(contrasts)
    theta <- t(contrasts) %*% solve(contrasts %*% C %*% t(contrasts), contrasts)
    parts <- lapply(slopes, function(slope) theta %*% C %*% slope %*% C)
    traces <- vapply(parts, function(part) sum(diag(part)), 0)
    A1 <- drop(traces %*% W %*% traces)
    A2 <- sum(mapply(function(i, j) W[i, j] * sum(parts[[i]] * t(parts[[j]])), pairs$i, pairs$j))
    B <- (A1 + 6 * A2) / (2 * l)
    g <- ((l + 1) * A1 - (l + 4) * A2) / ((l + 2) * A2)
    c <- c(g, l - g, l + 2 - g) / (3 * l + 2 * (1 - g))
    E <- 1 / (1 - A2 / l)
    V <- 2 / l * (1 + c[1] * B) / ((1 - c[2] * B)^2 * (1 - c[3] * B))
    m <- 4 + (l + 2) / (l * V / (2 * E^2) - 1)
    m / (E * (m - 2))
  }
  f <- function(contrasts, scale, sets) { # Li, Raghunathan and Rubin (1991)
    of <- contrasts %*% within_sets %*% t(contrasts)
    middle <- rowMeans(contrasts %*% effects[, sets, drop = FALSE])
    more <- sum(diag(solve(of, between(contrasts, sets)))) / nrow(contrasts)
    scale * sum(middle * solve(of, middle)) / nrow(contrasts) / (1 + more)
  }
  drawing <- function(figures) { # standard errors, by drawing again among the sets
    again <- replicate(200, figures(sample(SETS, completed_sets, replace = TRUE)))
    if (is.matrix(again)) apply(again, 1, sd) else sd(again)
  }
  told <- function(key, statistic, figures) {
    data.frame(key = key, statistic = statistic, r = unname(figures(seq_len(SETS))),
               within = APART * sqrt(1 + completed_sets / SETS) * drawing(figures))
  }

  cat("\nVariances\n")
  if (model$held) {
    cat("Held at zero or above in every set of trialkit's: their average is not where a likelihood is highest.\n")
  } else {
    beside(groups, told(groups$key, "variance", function(sets) groups$value + colMeans(newton[sets, ])))
  }
  if (!model$partly) {
    cat("\nTests of effects\n")
    crossed <- model.matrix(as.formula(paste("~", paste(treatment_columns, collapse = " * "))), rows)
    assigned <- attr(crossed, "assign")
    terms <- attr(terms(as.formula(paste("~", paste(treatment_columns, collapse = " * ")))), "term.labels")
    at <- crossed[match(levels(rows$treatment), rows$treatment), ]
    contrasts <- lapply(seq_along(terms), function(k) solve(at, fixed$means)[assigned == k, , drop = FALSE])
    beside(ours[ours$kind == "test", ], do.call(rbind, Map(function(term, one) {
      scale <- scaled(one)
      told(term, "f", function(sets) f(one, scale, sets))
    }, terms, contrasts)))
  }
  cat("\nMeans of treatments\n")
  both <- function(key, statistic, contrasts) {
    rbind(told(key, statistic, function(sets) rowMeans(contrasts %*% effects[, sets])),
          told(key, "se", function(sets) error(contrasts, sets)))
  }
  beside(ours[ours$kind == "mean", ], both(rownames(fixed$means), "mean", fixed$means))
  current <- setdiff(ours$key[ours$kind == "mean"], ours$key[ours$kind == "comparison"])
  if (length(current) == 1) {
    cat("\nDifferences from the current practice,", current, "\n")
    others <- setdiff(rownames(fixed$means), current)
    against <- sweep(fixed$means[others, , drop = FALSE], 2, fixed$means[current, ])
    beside(ours[ours$kind == "comparison", ], both(others, "difference", against))
  }
  cat("Degrees of freedom are averages over the completed sets: not repeated.\n")
}

for (model in models) {
  cat("\n==", model$response, "==\n")
  rows <- switch(model$response, weight_g = head_rows, bucket_weight_g = bucket_rows, days = day_rows,
                 degree_days = in_degree_days(day_rows))
  if (!is.null(rows$lower)) rows[[model$response]] <- rows$upper # where that is known
  is_between <- any(rows$lower < rows$upper)
  if (model$rows == "bucket means" && !is_between) {
    rows <- merge(layout, aggregate(rows[model$response], rows["bucket"], mean), by = "bucket")
  }
  for (column in c(treatment_columns, "treatment", unique(unlist(strsplit(c(model$random, model$fixed), ":"))))) {
    rows[[column]] <- factor(rows[[column]])
  }
  ours <- figures[figures$response == model$response, ]
  if (is_between) {
    cat(nrow(rows), "rows\n")
    if (nrow(rows) <= MOST_ROWS) between_visits(rows, model, ours) else cat("Too many for plain matrices: not repeated.\n")
    next
  }
  fixed <- paste(c(model$fixed, paste(treatment_columns, collapse = " * ")), collapse = " + ")
  random <- paste0("(1 | ", model$random, ")", collapse = " + ")
  wanted <- paste(model$response, "~", fixed, "+", random)
  cat(nrow(rows), "rows;", wanted, "\n")
  fit <- suppressMessages(lmer(as.formula(wanted), rows, control = lmerControl(optimizer = "bobyqa", calc.derivs = FALSE)))
  joint <- suppressMessages(update(fit, as.formula(paste(". ~", paste(c(model$fixed, "treatment", random), collapse = " + ")))))

  # trialkit leaves variances of strata free, so that a balanced trial is answered as by the classical analysis of
  # variance; lmer holds each at zero or above. Where one is negative the two differ, and rightly.
  negative <- ours$key[ours$kind == "variance" & ours$value < 0]
  excuse <- if (length(negative)) {
    paste0(paste(negative, collapse = ", "), " varies less than chance alone would make it: trialkit leaves that ",
           "variance below zero, as the analysis of variance by strata does, and lmer holds it at zero.")
  } else if (model$spread) {
    "each garden has a variance of its own in trialkit's model, which lmer cannot express."
  }

  cat("\nVariances\n")
  found <- as.data.frame(VarCorr(fit))
  found$grp <- vapply(strsplit(found$grp, ":"), function(parts) paste(sort(parts), collapse = ":"), "")
  sorted <- ours[ours$kind == "variance", ]
  sorted$key <- vapply(strsplit(sorted$key, ":"), function(parts) paste(sort(parts), collapse = ":"), "")
  beside(sorted, long(sub("^Residual$", "residual", found$grp), variance = found$vcov), excuse)

  cat("\nTests of effects: type III, Kenward and Roger\n")
  tested <- as.data.frame(anova(fit, type = 3, ddf = "Kenward-Roger"))
  beside(ours[ours$kind == "test", ],
         long(rownames(tested), f = tested[["F value"]], numerator_df = tested$NumDF, denominator_df = tested$DenDF),
         if (model$partly) paste("some combinations have no record: trialkit tests what can be told without them.", excuse)
         else excuse)

  cat("\nMeans of treatments\n")
  means <- emmeans(joint, "treatment", lmer.df = "kenward-roger")
  told <- as.data.frame(means)
  beside(ours[ours$kind == "mean", ], long(as.character(told$treatment), mean = told$emmean, se = told$SE, df = told$df), excuse)

  current <- setdiff(ours$key[ours$kind == "mean"], ours$key[ours$kind == "comparison"]) # what gardeners do now
  if (length(current) == 1) {
    cat("\nDifferences from the current practice,", current, "\n")
    reference <- which(levels(rows$treatment) == current)
    against <- as.data.frame(contrast(means, "trt.vs.ctrl", ref = reference, adjust = "none"))
    others <- levels(rows$treatment)[-reference]
    beside(ours[ours$kind == "comparison", ],
           long(others, difference = against$estimate, se = against$SE, df = against$df), excuse)
  }

  if (!model$spread && nrow(rows) <= MOST_ROWS) by_matrices(rows, model, ours)

  if (model$rows == "buckets" && length(unique(table(rows$site, rows$treatment))) == 1) {
    cat("\nThe same by strata: aov\n")
    strata <- paste(model$random, collapse = " + ")
    by_strata <- summary(aov(as.formula(paste(model$response, "~", fixed, "+ Error(", strata, ")")), rows))
    rows_of <- do.call(rbind, lapply(by_strata, function(stratum) {
      table <- stratum[[1]]
      error <- table[["Df"]][trimws(rownames(table)) == "Residuals"]
      if (is.null(table[["F value"]]) || !length(error)) return(NULL)
      is_effect <- trimws(rownames(table)) != "Residuals"
      if (!any(is_effect)) return(NULL)
      long(trimws(rownames(table))[is_effect], f = table[["F value"]][is_effect], denominator_df = rep(error, sum(is_effect)))
    }))
    if (!is.null(rows_of)) beside(ours[ours$kind == "test", ], rows_of)
  }
}
if (length(left_out)) cat("\nNot repeated here:", paste(left_out, collapse = "; "), "\n")
cat("\n", if (differing) paste(differing, "figures differ without a reason.") else "Every figure agrees, or differs for the reason told.", "\n", sep = "")
for (package in c("lme4", "lmerTest", "pbkrtest", "emmeans")) cat(package, as.character(packageVersion(package)), "")
cat("on", R.version.string, "\n")
if (differing) quit(status = 1)
