# Reads histories (history,hours,failed) and writes what package survival says of each, as CSV lines:
#   survival,history,hours,at_risk,failures,survival,error,low,high     weibull,history,shape,scale,log_likelihood,log_scale_error,log_shape_error,covariance
suppressPackageStartupMessages(library(survival))
lives <- read.csv(commandArgs(trailingOnly = TRUE)[1])
cat("version", as.character(packageVersion("survival")), R.version.string, sep = ",")
cat("\n")
line <- function(...) cat(paste(sapply(list(...), function(v) if (is.character(v)) v else sprintf("%.17g", v)), collapse = ","), "\n", sep = "")
for (history in unique(lives$history)) {
  one <- lives[lives$history == history, ]
  curve <- summary(survfit(Surv(hours, failed) ~ 1, data = one, conf.type = "log-log", conf.int = 0.95))
  for (i in seq_along(curve$time))
    line("survival", history, curve$time[i], curve$n.risk[i], curve$n.event[i], curve$surv[i], curve$std.err[i], curve$lower[i], curve$upper[i])
  if (sum(one$failed) >= 5) {
    fit <- survreg(Surv(hours, failed) ~ 1, data = one, dist = "weibull", control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
    v <- vcov(fit)
    # survreg's log(scale) is minus our ln shape
    line("weibull", history, 1 / fit$scale, exp(coef(fit)[[1]]), fit$loglik[2], sqrt(v[1, 1]), sqrt(v[2, 2]), -v[1, 2])
  }
}
