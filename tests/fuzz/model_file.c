/* Fuzz: a gadget model's text; what parses is run for a few requests, and what it stores honestly must read back. */
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "fuzz.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"

enum { LEN = 16384 };

static bool honest(const struct model_spec *s)
{
	static const struct model_faults none;

	return !memcmp(&s->faults, &none, sizeof none) && !s->claims.write_protected;
}

static void run(struct medium *m, bool must_keep)
{
	static unsigned char out[LEN], in[LEN];
	uint64_t block = medium_traits(m)->logical_block_bytes, at = 0;
	struct random r = { 1 };
	uint64_t last = medium_now_ns(m);
	size_t put, got;

	for (int i = 0; i < 6; i++) {
		size_t len = block << (i % 3);

		at = random_below(&r, medium_traits(m)->size_bytes / block) * block;
		memset(out, i + 1, len);
		if (medium_write(m, at, out, len, &put) < 0)
			continue;
		if (i == 2)
			medium_flush(m);
		if (i == 4)
			medium_idle_ns(m, 1000);
		if (medium_read(m, at, in, put, &got) < 0 || got != put)
			abort();
		if (must_keep && memcmp(in, out, got) != 0)
			abort();
		if (medium_now_ns(m) < last)
			abort();
		last = medium_now_ns(m);
	}
	medium_write_through(m, at, out, block, &put);
	medium_replug(m, true);
	medium_read(m, at, in, block, &got);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct error err = { 0 };
	struct model_spec spec;
	struct medium *m;

	if (model_spec_parse(&spec, (const char *)data, size, "fuzz", &err) < 0) {
		if (!err.text[0])
			abort(); /* refused without a word */
		return 0;
	}
	if (spec.firmware.write_behind_bytes > 1 << 20)
		return 0; /* nothing new, only slow */
	if (model_open_spec(&m, &spec, "model:fuzz", MEDIUM_READ_WRITE, &err) < 0)
		abort();
	run(m, honest(&spec));
	medium_close(m);
	return 0;
}
