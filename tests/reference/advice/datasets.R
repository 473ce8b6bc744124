# Writes the records of three published trials as trialkit.advice asks for them: Rscript datasets.R
suppressMessages({library(MASS); library(lattice); library(nlme)})
columns <- c("trial", "site", "block", "whole_plot", "cultivar", "acidifier", "dose", "recorded", "usable", "weight_g")
put <- function(data, name) {
  text <- c("trial", "site", "block", "whole_plot", "cultivar", "acidifier")
  data$recorded <- data$usable <- 1
  for (one in setdiff(text, names(data))) data[[one]] <- ""
  if (is.null(data$dose)) data$dose <- NA
  write.csv(data[columns], paste0(name, ".csv"), row.names = FALSE, quote = FALSE, na = "")
}
oats <- with(MASS::oats, data.frame(trial = "1", site = "Rothamsted", block = B, whole_plot = V, cultivar = V,
  dose = as.numeric(sub("cwt", "", N)), weight_g = Y))
put(oats, "oats")
put(with(lattice::barley, data.frame(trial = year, site = site, cultivar = variety, weight_g = 5 * yield)), "barley")
put(with(as.data.frame(nlme::Wheat), data.frame(trial = "1", site = "greenhouse", block = Tray, acidifier = paste0("moisture ", Moisture),
  dose = fertilizer, weight_g = 20 * DryMatter)), "wheat")
