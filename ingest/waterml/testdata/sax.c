// The same points by libxml2's SAX2 callbacks: number, sum, last time and the
// least time of a pass, in ns. A peer of BenchmarkWaterML, built by the test.
#include <libxml/parser.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

typedef struct {
	char text[256];
	int len;
	long n;
	double sum;
	long last;
} tally;

static int digits(const char *s, int n) {
	int v = 0;
	for (int i = 0; i < n; i++) {
		if (s[i] < '0' || s[i] > '9') exit(3);
		v = 10 * v + s[i] - '0';
	}
	return v;
}

// seconds since 1970 of 2026-03-20T10:15:00Z or with +hh:mm (days from civil).
static long seconds(const char *s) {
	int y = digits(s, 4), m = digits(s + 5, 2), d = digits(s + 8, 2);
	y -= m <= 2;
	long era = y / 400, yoe = y - era * 400, doy = (153 * (m + (m > 2 ? -3 : 9)) + 2) / 5 + d - 1;
	long days = era * 146097 + yoe * 365 + yoe / 4 - yoe / 100 + doy - 719468;
	long at = days * 86400 + digits(s + 11, 2) * 3600 + digits(s + 14, 2) * 60 + digits(s + 17, 2);
	const char *z = s + 19;
	if (*z == '.') do z++; while (*z >= '0' && *z <= '9');
	if (*z == 'Z') return at;
	long off = digits(z + 1, 2) * 3600 + digits(z + 4, 2) * 60;
	return *z == '-' ? at + off : at - off;
}

static void start(void *p, const xmlChar *name, const xmlChar *pre, const xmlChar *uri, int nn, const xmlChar **ns, int na, int nd, const xmlChar **at) {
	((tally *)p)->len = 0;
}

static void chars(void *p, const xmlChar *c, int len) {
	tally *t = p;
	if (t->len + len >= (int)sizeof t->text) return; // none of what is looked for
	memcpy(t->text + t->len, c, len);
	t->len += len;
}

static void end(void *p, const xmlChar *name, const xmlChar *pre, const xmlChar *uri) {
	tally *t = p;
	t->text[t->len] = 0;
	if (!strcmp((const char *)name, "time")) {
		t->last = seconds(t->text);
	} else if (!strcmp((const char *)name, "value")) {
		t->n++;
		t->sum += strtod(t->text, NULL);
	}
}

int main(int argc, char **argv) {
	FILE *f = fopen(argv[1], "rb");
	if (!f) return 2;
	fseek(f, 0, SEEK_END);
	long size = ftell(f);
	rewind(f);
	char *body = malloc(size);
	if (fread(body, 1, size, f) != (size_t)size) return 2;
	xmlSAXHandler h = {0};
	h.initialized = XML_SAX2_MAGIC;
	h.startElementNs = start, h.endElementNs = end, h.characters = chars;
	double best = 1e18;
	tally t;
	for (int i = 0; i < atoi(argv[2]); i++) {
		struct timespec a, b;
		memset(&t, 0, sizeof t);
		clock_gettime(CLOCK_MONOTONIC, &a);
		if (xmlSAXUserParseMemory(&h, &t, body, (int)size)) return 4;
		clock_gettime(CLOCK_MONOTONIC, &b);
		double ns = (b.tv_sec - a.tv_sec) * 1e9 + (b.tv_nsec - a.tv_nsec);
		if (ns < best) best = ns;
	}
	printf("%ld %.17g %ld %.0f\n", t.n, t.sum, t.last, best);
	return 0;
}
