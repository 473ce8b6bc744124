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

differing <- 0
beside <- function(ours, theirs, excuse = NULL) {
  # Print figures beside each other, found by their key; count those that differ and are not excused.
  both <- merge(ours[, c("key", "statistic", "value")], theirs, by = c("key", "statistic"), sort = FALSE)
  if (!nrow(both)) return(invisible())
  names(both)[3:4] <- c("trialkit", "R")
  both$agree <- abs(both$trialkit - both$R) <= AGREES * pmax(abs(both$R), 1e-8)
  shown <- both
  shown$trialkit <- signif(shown$trialkit, 6)
  shown$R <- signif(shown$R, 6)
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

by_matrices <- function(rows, model, ours) {
  # Generalised least squares by plain matrices at the variances that trialkit found: its means follow from them, and
  # no restricted likelihood nearby is higher. This checks what lmer cannot: variances below zero.
  groups <- ours[ours$kind == "variance", ]
  X <- model.matrix(as.formula(paste("~", paste(c(model$fixed, "treatment"), collapse = " + "))), rows)
  y <- rows[[model$response]]
  shared <- lapply(groups$key, function(term) {
    if (term == "residual") return(diag(nrow(rows)))
    tcrossprod(model.matrix(~ 0 + g, list(g = interaction(rows[strsplit(term, ":")[[1]]], drop = TRUE))))
  })
  criterion <- function(variances) {
    root <- chol(Reduce(`+`, Map(`*`, shared, variances)))
    A <- backsolve(root, X, transpose = TRUE)
    b <- backsolve(root, y, transpose = TRUE)
    small <- qr(A)
    list(value = 2 * sum(log(diag(root))) + 2 * sum(log(abs(diag(qr.R(small))))) + sum(qr.resid(small, b)^2),
         fixed = qr.coef(small, b))
  }
  best <- criterion(groups$value)
  cat("\nAt trialkit's variances, by plain matrices\n")
  grid <- expand.grid(lapply(rows[model$fixed], levels), stringsAsFactors = TRUE)
  means <- vapply(levels(rows$treatment), function(one) {
    at <- data.frame(treatment = factor(one, levels(rows$treatment)))
    if (length(model$fixed)) at <- merge(grid, at)
    mean(model.matrix(delete.response(terms(as.formula(paste("~", paste(c(model$fixed, "treatment"), collapse = " + "))))), at,
                      contrasts.arg = attr(X, "contrasts")) %*% best$fixed)
  }, 0)
  beside(ours[ours$kind == "mean" & ours$statistic == "mean", ], long(names(means), mean = unname(means)))
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

for (model in models) {
  cat("\n==", model$response, "==\n")
  rows <- if (model$rows == "heads") head_rows else bucket_rows
  if (model$rows == "bucket means") {
    rows <- merge(layout, aggregate(rows[model$response], rows["bucket"], mean), by = "bucket")
  }
  for (column in c(treatment_columns, "treatment", unique(unlist(strsplit(c(model$random, model$fixed), ":"))))) {
    rows[[column]] <- factor(rows[[column]])
  }
  ours <- figures[figures$response == model$response, ]
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

  if (!model$spread && nrow(rows) <= 1500) by_matrices(rows, model, ours)

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
