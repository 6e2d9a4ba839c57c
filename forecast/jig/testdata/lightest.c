/* The lightest jig by plain bisection: the peer that BenchmarkLightest holds
 * the Go search against. Same physics, same 16 Runge-Kutta steps, 40 halvings
 * of ln m between 0.2 and 80 g, no shortcuts.
 *
 * usage: lightest ROUNDS < cases
 * a case: depth_m surface_ms rho nu line_d line_rho frame lam theta_deg lead_m
 *         body_len body_d body_vol body_rho cd_form fall_m2 fall_cd
 * prints the mass in kg of each case (0 = none), then "ns" and the time a
 * solution of the first case took over ROUNDS.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define STEPS 16
static const double G = 9.80665, BOTTOM = .05, GUST = 1.1, PRESS = .25, P = 1. / 6, RHOJ = 11340;

typedef struct {
	double h, us, rho, nu, d, rhol, frame, lam, tmax, lead, bl, bd, bv, brho, cdf, fa, fcd;
} rig;

static double clampre(double re) { return re < .1 ? .1 : re > 2e4 ? 2e4 : re; }

static double sphere(double re) {
	re = clampre(re);
	return 24 / re * (1 + .15 * pow(re, .687)) + .42 / (1 + 42500 * pow(re, -1.16));
}

static double cylinder(double re) {
	re = clampre(re);
	return 11 * pow(re, -.75) + .9 * (1 - exp(-1000 / re)) + 1.2 * (1 - exp(-pow(re / 4500, .7)));
}

static double linecf(double ut, double d, double nu) {
	double b = .5 * log(16 * nu * 5 / (ut * d * d)), f;
	if (b < 1) b = 1;
	f = 4 * nu / (ut * d * b);
	return f < .2 ? f : .2;
}

static double plate(double u, double l, double nu) {
	double re = fabs(u) * l / nu;
	return 1.328 / sqrt(re < 10 ? 10 : re);
}

static double net(const rig *r, double m) {
	return G * (m * (1 - r->rho / RHOJ) + .0006 * (1 - r->rho / 7850) + r->bv * (r->brho - r->rho));
}

static double speed(const rig *r, double z) {
	return (r->us * pow(z / r->h, P) * (1 - r->lam) - r->frame * r->us) * GUST;
}

static int slope(const rig *r, const double *y, double u, double *k) {
	double t, c, s, un, ut, fn, ft = 0, wl;
	if (y[1] <= 0) return 0;
	t = sqrt(y[0] * y[0] + y[1] * y[1]);
	c = y[1] / t;
	s = y[0] / t;
	if (c < .02) return 0;
	un = u * c;
	ut = u * s;
	fn = .5 * r->rho * cylinder(fabs(un) * r->d / r->nu) * r->d * un * fabs(un);
	if (fabs(ut) > 1e-9) ft = .5 * r->rho * linecf(fabs(ut), r->d, r->nu) * M_PI * r->d * ut * fabs(ut);
	wl = (r->rhol - r->rho) * G * M_PI * r->d * r->d / 4;
	k[0] = (fn * c + ft * s) / c;
	k[1] = -(fn * s - ft * c - wl) / c;
	return 1;
}

static int holds(const rig *r, double m) {
	double w = net(r, m), dh, head, face, form, u, y[2], top, h = (r->h - BOTTOM) / STEPS, v = .5, cda, n, t;
	int i, j;
	if (w <= 0) return 0;
	dh = cbrt(6 * m / (M_PI * RHOJ));
	head = M_PI * dh * dh / 4;
	face = M_PI * r->bd * r->bd / 4;
	form = face - head / 2;
	if (form < .3 * face) form = .3 * face;
	u = speed(r, BOTTOM);
	y[0] = .5 * r->rho * u * fabs(u) * (sphere(fabs(u) * dh / r->nu) * head + r->cdf * form + plate(u, r->bl, r->nu) * M_PI * r->bd * r->bl);
	y[1] = (1 - PRESS) * w;
	top = fabs(atan2(y[0], y[1]));
	for (i = 0; i < STEPS; i++) {
		double z = BOTTOM + i * h, k[4][2], q[2];
		double us[4] = {speed(r, z), speed(r, z + h / 2), 0, speed(r, z + h)};
		us[2] = us[1];
		for (j = 0; j < 4; j++) {
			double f = j == 0 ? 0 : j == 3 ? h : h / 2;
			q[0] = y[0] + (j ? f * k[j - 1][0] : 0);
			q[1] = y[1] + (j ? f * k[j - 1][1] : 0);
			if (!slope(r, q, us[j], k[j])) return 0;
		}
		for (j = 0; j < 2; j++) y[j] += h / 6 * (k[0][j] + 2 * k[1][j] + 2 * k[2][j] + k[3][j]);
		if (y[1] <= 0) return 0;
		t = fabs(atan2(y[0], y[1]));
		if (t > top) top = t;
	}
	if (top > r->tmax) return 0;
	for (i = 0; i < 200; i++) {
		cda = sphere(v * dh / r->nu) * head + r->fcd * r->fa + linecf(v, r->d, r->nu) * M_PI * r->d * r->h / 2;
		n = (sqrt(2 * w / (r->rho * cda)) + v) / 2;
		if (fabs(n - v) < 1e-7) break;
		v = n;
	}
	t = r->h / n;
	return t <= 25 && t * fabs(r->us / (1 + P) - r->frame * r->us) <= r->lead;
}

static double lightest(const rig *r) {
	double lo = log(.2e-3), hi = log(80e-3);
	int i;
	if (!holds(r, 80e-3)) return 0;
	if (holds(r, .2e-3)) return .2e-3;
	for (i = 0; i < 40; i++) {
		double mid = (lo + hi) / 2;
		if (holds(r, exp(mid))) hi = mid;
		else lo = mid;
	}
	return exp(hi);
}

int main(int argc, char **argv) {
	long rounds = argc > 1 ? atol(argv[1]) : 1, i;
	rig r, first = {0};
	int n = 0;
	double sink = 0;
	struct timespec a, b;
	while (scanf("%lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf", &r.h, &r.us, &r.rho, &r.nu, &r.d, &r.rhol, &r.frame, &r.lam,
	             &r.tmax, &r.lead, &r.bl, &r.bd, &r.bv, &r.brho, &r.cdf, &r.fa, &r.fcd) == 17) {
		r.tmax *= M_PI / 180;
		if (!n++) first = r;
		printf("%.12g\n", lightest(&r));
	}
	clock_gettime(CLOCK_MONOTONIC, &a);
	for (i = 0; i < rounds; i++) {
		first.us += 1e-12; /* so that nothing is hoisted */
		sink += lightest(&first);
	}
	clock_gettime(CLOCK_MONOTONIC, &b);
	printf("ns %.1f %g\n", ((b.tv_sec - a.tv_sec) * 1e9 + (b.tv_nsec - a.tv_nsec)) / (double)(rounds > 0 ? rounds : 1), sink);
	return 0;
}
