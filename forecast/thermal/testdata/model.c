/* The heat balance of eight parameters over days of air and ln(Q/Qref), as
 * heat.go has it without ice, written anew with the C library's exp: the peer
 * of BenchmarkModel30y.
 *
 * stdin: n rounds w a1..a8, then n lines "air lnq cos sin".
 * stdout: n temperatures, then "ns <of the fastest run>". */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double clip(double x, double lo, double hi) { return x < lo ? lo : x > hi ? hi : x; }

static void run(double *dst, long n, const double *air, const double *lnq, const double *co, const double *si,
                const double a[8], double w) {
    const double ac = a[5] * cos(2 * M_PI * a[6]), as = a[5] * sin(2 * M_PI * a[6]);
    double t = 0, pa = air[0], pq = lnq[0];
    for (long i = 0; i < n; i++) {
        double ta = w * air[i] + (1 - w) * pa, l = w * lnq[i] + (1 - w) * pq;
        pa = air[i], pq = lnq[i];
        double q = exp(l), d = exp(-a[3] * l);
        double f = (a[0] + a[1] * ta + q * (a[4] + ac * co[i] + as * si[i])) * d;
        double k = clip((a[2] + q * a[7]) * d, 1e-6, 50);
        double eq = f / k;
        t = clip(eq + (t - eq) * exp(-k), 0, 60);
        dst[i] = t;
    }
}

int main(void) {
    long n, rounds;
    double w, a[8];
    if (scanf("%ld %ld %lf", &n, &rounds, &w) != 3) return 2;
    for (int k = 0; k < 8; k++)
        if (scanf("%lf", &a[k]) != 1) return 2;
    double *x = malloc(5 * n * sizeof *x);
    if (!x) return 2;
    double *air = x, *lnq = x + n, *co = x + 2 * n, *si = x + 3 * n, *dst = x + 4 * n;
    for (long i = 0; i < n; i++)
        if (scanf("%lf %lf %lf %lf", &air[i], &lnq[i], &co[i], &si[i]) != 4) return 2;
    double best = INFINITY;
    run(dst, n, air, lnq, co, si, a, w);
    for (long r = 0; r < rounds; r++) {
        struct timespec b, e;
        clock_gettime(CLOCK_MONOTONIC, &b);
        run(dst, n, air, lnq, co, si, a, w);
        clock_gettime(CLOCK_MONOTONIC, &e);
        double ns = (e.tv_sec - b.tv_sec) * 1e9 + (e.tv_nsec - b.tv_nsec);
        if (ns < best) best = ns;
    }
    for (long i = 0; i < n; i++) printf("%.17g\n", dst[i]);
    printf("ns %.0f\n", best);
    return 0;
}
