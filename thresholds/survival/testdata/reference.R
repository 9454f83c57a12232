# Reference values for the intervals, by R and its package survey:
#   Rscript reference.R > reference.csv
# Each row: what computed it, the level, the litters as lived/of, the interval.
suppressPackageStartupMessages(library(survey))
cat("#", R.version.string, "survey", format(packageVersion("survey")), "\n")
cat("by,level,litters,low,high\n")
say <- function(by, level, lived, of, ci)
  cat(sprintf("%s,%g,%s,%.12f,%.12f\n", by, level, paste(lived, of, sep = "/", collapse = " "), ci[1], ci[2]))

# One row a kit, litters as clusters, all of the same weight.
design <- function(lived, of) {
  kit <- data.frame(litter = rep(seq_along(of), of),
                    lived = unlist(mapply(function(l, o) rep(c(1, 0), c(l, o - l)), lived, of, SIMPLIFY = FALSE)))
  svydesign(ids = ~litter, weights = ~1, data = kit)
}
beta <- function(lived, of, level)
  as.vector(attr(svyciprop(~lived, design(lived, of), method = "beta", level = level), "ci"))

# What the package does not have: the size truncated at the number of kits, and litters that are all alike.
exact <- function(x, n, a)
  c(if (x > 0) qbeta(a / 2, x, n - x + 1) else 0, if (x < n) qbeta(1 - a / 2, x + 1, n - x) else 1)
ours <- function(lived, of, level) {
  a <- 1 - level; n <- sum(of); m <- sum(of > 0); p <- sum(lived) / n
  if (p == 0 || p == 1) return(exact(p * m, m, a))
  size <- n * (qt(a / 2, n - 1) / qt(a / 2, m - 1))^2
  exact(p * size, size, a)
}

set.seed(1931, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
one <- function(lived, of, level) {
  n <- sum(of); p <- sum(lived) / n
  e <- lived - p * of; m <- length(of)
  variance <- m / (m - 1) * sum(e^2) / n^2
  if (p == 0 || p == 1) say("alike", level, lived, of, ours(lived, of, level))
  else if (variance == 0 || p * (1 - p) / variance > n) say("truncated", level, lived, of, ours(lived, of, level))
  else say("svyciprop", level, lived, of, beta(lived, of, level))
}
for (level in c(0.95, 0.995)) {
  one(c(13, 12, 9, 8, 0), c(13, 13, 10, 8, 7), level)
  one(c(8, 7), c(8, 9), level)
  one(c(8, 0), c(8, 9), level)
  one(c(4, 4, 4), c(8, 8, 8), level)
  one(c(8, 7, 9), c(8, 7, 9), level)
  one(c(0, 0), c(5, 6), level)
  one(c(1, rep(0, 39)), rep(8, 40), level)
}
for (i in 1:60) {
  m <- sample(2:40, 1)
  of <- sample(1:12, m, replace = TRUE)
  p <- rbeta(m, 4, runif(1, 0.2, 4))
  one(rbinom(m, of, p), of, c(0.95, 0.99)[i %% 2 + 1])
}
# The package's own example: schools of 15 districts in which nobody learns English anew, here without finite population.
data(api)
one(as.vector(tapply(apiclus1$ell == 0, apiclus1$dnum, sum)), as.vector(table(apiclus1$dnum)), 0.95)

for (k in list(c(81, 263), c(15, 148), c(0, 20), c(1, 29), c(29, 29), c(1, 1), c(3, 7))) {
  say("wilson", 0.95, k[1], k[2], suppressWarnings(prop.test(k[1], k[2], correct = FALSE)$conf.int))
  say("exact", 0.95, k[1], k[2], binom.test(k[1], k[2])$conf.int)
}
