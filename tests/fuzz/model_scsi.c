/* Fuzz: any bytes as SCSI commands to a modelled gadget. Each command is one byte of length and data size, then the
 * command itself. */
#include "medium/model_scsi.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "fuzz.h"

static const char text[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 256Ki\nlink:\nrate = 4 MB/s\n"
	"card:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\nfirmware:\nunit = request\n"
	"write behind = 32Ki\nclaims:\nwrite cache = yes\nfua = yes\n"
	"faults:\nbad range = 4096+4096\n";

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct error err = { 0 };
	struct model_spec spec;
	struct model_gadget g;
	static uint8_t buf[65536];

	if (model_spec_parse(&spec, text, strlen(text), "t", &err) < 0 ||
		model_gadget_init(&g, &spec, true, &err) < 0)
		abort();
	while (size) {
		size_t n = 1 + (data[0] & 15U), room = (size_t)(data[0] >> 4) * 4096;
		/* An own copy of exactly that length, so that reading past its end is seen. */
		uint8_t *cdb = malloc(n);
		struct model_scsi x = { .cdb = cdb, .cdb_len = n, .data = buf, .data_len = room };

		if (!cdb)
			abort();
		data++;
		size--;
		memset(cdb, 0, n);
		memcpy(cdb, data, n < size ? n : size);
		if (model_scsi_run(&g, &x) == 0 &&
			(x.moved > room || (x.status && !x.sense[2] && x.sense[0] != 0x70)))
			abort();
		free(cdb);
		data += n < size ? n : size;
		size -= n < size ? n : size;
	}
	model_gadget_release(&g);
	return 0;
}
