# sleepstudy and Dyestuff by lme4, which carries the data: the values that `packdrift trend` and the lot's variance components
# must give. (Belenky et al. 2003; Davies and Goldsmith 1972; data as in lme4.)
#
# A made fleet shows the model in which a valve keeps its slope through its re-shims: a slope by valve beside start and slope by segment.
#
# Freezes tests/reference/mixed_models_lme4.csv (name,value), and sleepstudy and the made fleet as inspections beside it; with --check it
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

# 40 valves re-shimmed once or twice; slopes of a valve's segments differ by 12e-6 about its own, which scatters by 15e-6. Invented, seeded.
set.seed(20)
made <- do.call(rbind, lapply(1:40, function(v) {
  own <- rnorm(1, 40e-6, 15e-6)
  do.call(rbind, lapply(1:(2 + v %% 2), function(s) {
    n <- 4 + (v + s) %% 4
    tau <- cumsum(c(0, round(runif(n - 1, 500, 900))))
    value <- rnorm(1, 1, 0.05) + rnorm(1, own, 12e-6) * tau + rnorm(n, 0, 0.01)
    data.frame(valve = sprintf("V%02d", v), segment = paste(v, s), tau = tau, start = 5000 * (s - 1), value = round(value, 5),
               event = ifelse(seq_len(n) == 1 & s > 1, "reshim", ""))
  }))
}))
made$t <- made$tau / 1000
kept <- lmer(value ~ t + (t | segment) + (0 + t | valve), made, control = tight)
keep("kept/intercept", fixef(kept)[[1]])
keep("kept/slope", fixef(kept)[[2]] / 1000)
keep("kept/slope_se", sqrt(vcov(kept)[2, 2]) / 1000)
own <- attr(VarCorr(kept)$segment, "stddev")
keep("kept/sd_intercept", own[[1]])
keep("kept/sd_valve_slope", attr(VarCorr(kept)$valve, "stddev")[[1]] / 1000)
keep("kept/sd_slope", sqrt(own[[2]]^2 + VarCorr(kept)$valve[1, 1]) / 1000)
keep("kept/sd_reading", sigma(kept))
# lme4's likelihood counts hours in thousands: two more digits of each slope column.
keep("kept/log_likelihood", as.numeric(logLik(kept)) - log(1000))
last <- made[!duplicated(made$valve, fromLast = TRUE), ]
for (k in seq_len(nrow(last))) {
  own <- fixef(kept)[[2]] + ranef(kept)$segment[last$segment[k], "t"] + ranef(kept)$valve[last$valve[k], "t"]
  keep(paste0("kept/slope/", last$valve[k]), own / 1000)
  keep(paste0("kept/level/", last$valve[k]), predict(kept, last[k, ])[[1]])
}

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
  rows <- data.frame(engine = made$valve, valve = "only", date = as.Date("2020-01-01") + round((made$start + made$tau) / 10),
                     hours = made$start + made$tau, feature = "contact_offset", value = made$value, event = made$event)
  write.csv(rows, file.path(here, "..", "reference", "kept-slopes-as-inspections.csv"), row.names = FALSE, quote = FALSE)
}
