# sleepstudy and Dyestuff by lme4, which carries the data: the values that `packdrift trend` and the lot's variance components
# must give. (Belenky et al. 2003; Davies and Goldsmith 1972; data as in lme4.)
#
# Freezes tests/reference/mixed_models_lme4.csv (name,value), and the sleepstudy data as inspections beside it; with --check it
# compares with the frozen values instead. lme4's optimiser is good to about 1e-6 of the variances: 2e-5 is allowed.
suppressPackageStartupMessages(library(lme4))
arguments <- commandArgs(trailingOnly = FALSE)
here <- dirname(normalizePath(sub("--file=", "", grep("--file=", arguments, value = TRUE))))
frozen <- file.path(here, "..", "reference", "mixed_models_lme4.csv")

values <- list()
keep <- function(name, value) values[[name]] <<- value
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
for (method in c("REML", "ML")) {
  fit <- lmer(Reaction ~ Days + (Days | Subject), sleepstudy, REML = method == "REML", control = tight)
  at <- function(what) paste("sleepstudy", method, what, sep = "/")
  keep(at("intercept"), fixef(fit)[[1]])
  keep(at("slope"), fixef(fit)[[2]])
  keep(at("intercept_se"), sqrt(vcov(fit)[1, 1]))
  keep(at("slope_se"), sqrt(vcov(fit)[2, 2]))
  sd <- attr(VarCorr(fit)$Subject, "stddev")
  keep(at("sd_intercept"), sd[[1]])
  keep(at("sd_slope"), sd[[2]])
  keep(at("corr"), attr(VarCorr(fit)$Subject, "correlation")[1, 2])
  keep(at("sd_reading"), sigma(fit))
  keep(at("log_likelihood"), as.numeric(logLik(fit)))
  line <- coef(fit)$Subject
  for (subject in rownames(line)) {
    keep(at(paste0("level/", subject)), line[subject, 1] + 9 * line[subject, 2])
    keep(at(paste0("slope/", subject)), line[subject, 2])
  }
}
dye <- lmer(Yield ~ 1 + (1 | Batch), Dyestuff, control = tight)
keep("Dyestuff/REML/between", attr(VarCorr(dye)$Batch, "stddev")[[1]])
keep("Dyestuff/REML/within", sigma(dye))

if ("--check" %in% arguments) {
  before <- read.csv(frozen)
  values <- unlist(values)
  off <- abs(values[before$name] / before$value - 1)
  wrong <- before$name[is.na(off) | off > 2e-5]
  if (length(wrong) > 0 || nrow(before) != length(values)) {
    cat("mixed_models_lme4 differs:", wrong, "\n")
    quit(status = 1)
  }
  cat("mixed_models_lme4: agrees with the frozen values\n")
} else {
  write.csv(data.frame(name = names(values), value = sprintf("%.12g", unlist(values))), frozen, row.names = FALSE, quote = FALSE)
  rows <- data.frame(engine = sleepstudy$Subject, valve = "only", date = as.Date("2024-01-01") + sleepstudy$Days,
                     hours = sleepstudy$Days, feature = "reaction", value = sprintf("%.4f", sleepstudy$Reaction))
  write.csv(rows, file.path(here, "..", "reference", "sleepstudy-as-inspections.csv"), row.names = FALSE, quote = FALSE)
}
