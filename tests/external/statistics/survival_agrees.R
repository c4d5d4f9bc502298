# With the word "data": writes the package's own data sets as name,hours,failed lines.
# Else reads histories (history,hours,failed) and the stretch of a soak (from,to), and writes what package survival says of each, as CSV lines:
#   survival,history,hours,at_risk,failures,survival,error,low,high     weibull,history,shape,scale,log_likelihood,log_scale_error,log_shape_error,covariance
#   counted,history,share,low,high     curved,history,share,low,high       of those running at `from`, what fails until `to`
suppressPackageStartupMessages(library(survival))
if (commandArgs(trailingOnly = TRUE)[1] == "data") {
  told <- function(name, hours, failed) cat(paste(name, hours, as.integer(failed), sep = ","), sep = "\n")
  told("aml", aml$time, aml$status)
  told("lung", lung$time, lung$status == 2)
  told("ovarian", ovarian$futime, ovarian$fustat)
  told("veteran", veteran$time, veteran$status)
  quit(status = 0)
}
lives <- read.csv(commandArgs(trailingOnly = TRUE)[1])
cat("version", as.character(packageVersion("survival")), R.version.string, sep = ",")
cat("\n")
line <- function(...) cat(paste(sapply(list(...), function(v) if (is.character(v)) v else sprintf("%.17g", v)), collapse = ","), "\n", sep = "")
for (history in unique(lives$history)) {
  one <- lives[lives$history == history, ]
  curve <- summary(survfit(Surv(hours, failed) ~ 1, data = one, conf.type = "log-log", conf.int = 0.95))
  for (i in seq_along(curve$time))
    line("survival", history, curve$time[i], curve$n.risk[i], curve$n.event[i], curve$surv[i], curve$std.err[i], curve$lower[i], curve$upper[i])
  from <- one$from[1]
  to <- one$to[1]
  if (sum(one$failed) < 5 && sum(one$hours >= to) > 0) {
    later <- one[one$hours > from, ]
    at <- summary(survfit(Surv(hours - from, failed) ~ 1, data = later, conf.type = "log-log", conf.int = 0.95), times = to - from)
    line("counted", history, 1 - at$surv, 1 - at$upper, 1 - at$lower)
  }
  if (sum(one$failed) >= 5) {
    fit <- survreg(Surv(hours, failed) ~ 1, data = one, dist = "weibull", control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
    v <- vcov(fit)
    # survreg's log(scale) is minus our ln shape
    line("weibull", history, 1 / fit$scale, exp(coef(fit)[[1]]), fit$loglik[2], sqrt(v[1, 1]), sqrt(v[2, 2]), -v[1, 2])
    # The delta method on the logarithm of the share, in survreg's own parameters: ln scale and ln sigma, shape = 1 / sigma
    share <- function(b) log(-expm1(exp((log(from) - b[1]) / exp(b[2])) - exp((log(to) - b[1]) / exp(b[2]))))
    b <- c(coef(fit)[[1]], log(fit$scale))
    h <- 1e-5
    g <- c(share(b + c(h, 0)) - share(b - c(h, 0)), share(b + c(0, h)) - share(b - c(0, h))) / (2 * h)
    width <- qnorm(0.975) * sqrt(drop(t(g) %*% v %*% g))
    line("curved", history, exp(share(b)), exp(share(b) - width), min(1, exp(share(b) + width)))
  }
}
