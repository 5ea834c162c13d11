/* Fuzz: any command wrappers to a modelled gadget with faults of the protocol. Each is two bytes of direction and length,
 * then the command itself. */
#include "medium/model_bulk.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "fuzz.h"

static const char text[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 256Ki\nlink:\nrate = 4 MB/s\n"
	"card:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\nfirmware:\nunit = request\n"
	"write behind = 32Ki\nclaims:\nwrite cache = yes\nfua = yes\n"
	"faults:\nunreadable range = 4096+4096\nmode sense = long\nwrong residue = 1 in 3\n"
	"wrong tag = 1 in 5\nvital pages confused = yes\nsense stays = yes\n";

static void check(const struct model_bulk_command *x)
{
	if (x->moved > x->length || x->residue > x->length || x->residue + x->moved < x->length ||
		x->status > MODEL_BULK_PHASE_ERROR || (x->excess && x->moved != x->length))
		abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct error err = { 0 };
	struct model_spec spec;
	struct model_gadget g;
	struct model_bulk b = { .gadget = &g };

	if (model_spec_parse(&spec, text, strlen(text), "t", &err) < 0 ||
		model_gadget_init(&g, &spec, true, &err) < 0)
		abort();
	while (size >= 3) {
		size_t length = (size_t)(data[1] & 0x3FU) * 256 + (data[1] >> 6), n = size - 2;
		/* Of exactly that length, so that reading or writing past its end is seen. */
		struct model_bulk_command x = { .in = data[0] & 1,
			.length = (uint32_t)length,
			.data = calloc(1, length ? length : 1) };

		if (!x.data)
			abort();
		n = n < sizeof x.cdb ? n : sizeof x.cdb;
		memcpy(x.cdb, data + 2, n);
		if (model_bulk_run(&b, &x) == 0)
			check(&x);
		if (data[0] & 2)
			model_bulk_reset(&b);
		free(x.data);
		data += 2 + n;
		size -= 2 + n;
	}
	model_gadget_release(&g);
	return 0;
}
