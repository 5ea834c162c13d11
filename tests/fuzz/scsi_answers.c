/* Fuzz: what a device under development may answer to INQUIRY, READ CAPACITY, MODE SENSE and REQUEST SENSE. */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "medium/scsi.h"
#include "medium/scsi_data.h"
#include "medium/scsi_sense.h"

static void must_be_printable(const char *text)
{
	for (; *text; text++)
		if (!isprint((unsigned char)*text))
			abort();
}

static void try_sense(const uint8_t *bytes, size_t length)
{
	struct scsi_sense sense, again;
	char text[SCSI_SENSE_TEXT_MAX];
	uint8_t encoded[20];

	scsi_sense_decode(&sense, bytes, length);
	must_be_printable(scsi_sense_format(text, &sense));
	if (!sense.valid)
		return;
	scsi_sense_decode(&again, encoded, scsi_sense_encode(encoded, &sense));
	if (again.key != sense.key || again.deferred != sense.deferred)
		abort();
}

static void try_data(const uint8_t *bytes, size_t length)
{
	struct scsi_inquiry inquiry;
	struct scsi_capacity capacity;
	struct scsi_mode mode;

	if (scsi_inquiry_decode(&inquiry, bytes, length)) {
		must_be_printable(inquiry.vendor);
		must_be_printable(inquiry.product);
		must_be_printable(inquiry.revision);
	}
	if (scsi_capacity_10_decode(&capacity, bytes, length) && !capacity.block_bytes)
		abort();
	if (scsi_capacity_16_decode(&capacity, bytes, length) && !capacity.block_bytes)
		abort();
	scsi_mode_decode(&mode, bytes, length, false);
	scsi_mode_decode(&mode, bytes, length, true);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	/* Own copy of exactly that length, so that reading past its end is seen. */
	uint8_t *bytes = malloc(size ? size : 1);

	if (!bytes)
		abort();
	if (size)
		memcpy(bytes, data, size);
	try_sense(bytes, size);
	try_data(bytes, size);
	free(bytes);
	return 0;
}
