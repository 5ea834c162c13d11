/* Fuzz: the journal of a cut; what loads must hold together. */
#include <stdlib.h>
#include <unistd.h>

#include "base/error.h"
#include "fuzz.h"
#include "integrity/journal.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct journal_age ages[2] = { { .number = 1 }, { .number = 3 } };
	struct error err = { 0 };
	struct journal j = { 0 };
	char path[64];
	int fd = fuzz_record(path, JOURNAL_KIND, data, size);

	if (journal_load(&j, path, &err) == 0) {
		for (size_t i = 0; i < j.block_count; i++) {
			const struct journal_block *b = &j.blocks[i];

			/* A promise is only made of what was announced. */
			if (b->stored > b->announced || b->acknowledged > b->announced)
				abort();
		}
		journal_ages(&j, ages, 2, &err);
	} else if (!err.text[0]) {
		abort(); /* refused without a word */
	}
	journal_release(&j);
	close(fd);
	return 0;
}
