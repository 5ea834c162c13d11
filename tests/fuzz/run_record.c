/* Fuzz: a run record, read whole and in detail. */
#include <unistd.h>

#include "base/error.h"
#include "fuzz.h"
#include "record/run.h"

static uint64_t sum;

static void take_histogram(void *context, uint64_t pass_index, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins)
{
	(void)context;
	sum += pass_index;
	for (size_t i = 0; i < bins; i++)
		sum += bin_ns[i] ^ count[i];
}

static void take_trace(
	void *context, uint64_t pass_index, uint64_t step_ns, const uint64_t *bytes, size_t steps)
{
	(void)context;
	sum += pass_index ^ step_ns;
	for (size_t i = 0; i < steps; i++)
		sum += bytes[i];
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const struct run_histogram_visitor visitor = { .histogram = take_histogram,
		.trace = take_trace };
	struct error err = { 0 };
	struct run run = { 0 };
	char path[64];
	int fd = fuzz_record(path, "run", data, size);

	run_load(&run, path, &err);
	run_release(&run);
	run_visit_details(path, &visitor, &err);
	close(fd);
	return 0;
}
