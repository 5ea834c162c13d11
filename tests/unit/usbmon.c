/* Events of the USB monitor and the commands they add up to. Layout of events: Linux Documentation/usb/usbmon.rst; wrappers
 * and statuses: USB Mass Storage Class, Bulk-Only Transport 1.0, section 5. */
#include "platform/usbmon_event.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "measure/pairing.h"
#include "platform/usbmon_log.h"
#include "support/bus_events.h"

static const struct usbmon_filter disk = { .bus = 3, .device = 5, .in = 0x81, .out = 0x02 };

static struct pairing pairing;
static struct command_times last;
static unsigned ended;
static uint8_t bytes[BUS_EVENT_MAX];

static void setup(void)
{
	pairing = (struct pairing){ .stage = PAIRING_IDLE };
	ended = 0;
}

static bool parse(struct usbmon_event *out, const struct bus_event *e)
{
	size_t n = bus_event_make(bytes, e);

	ck_assert_uint_eq(usbmon_event_bytes(bytes), n);
	return usbmon_event_parse(out, bytes, n, &disk);
}

static void feed(const struct bus_event *e)
{
	struct usbmon_event event;

	if (parse(&event, e) && pairing_take(&pairing, &event, &last))
		ended++;
}

/* An event of the disk. */
static void happens(char type, uint8_t endpoint, uint64_t urb, uint64_t at_us, int status,
	uint32_t length, const void *data, uint32_t data_bytes)
{
	struct bus_event e = { .type = type,
		.transfer = USBMON_BULK,
		.endpoint = endpoint,
		.device = disk.device,
		.bus = disk.bus,
		.urb = urb,
		.at_us = at_us,
		.status = status,
		.length = length,
		.data = data,
		.data_bytes = data_bytes };

	feed(&e);
}

static void control(uint8_t type, uint8_t request)
{
	const uint8_t words[8] = { type, request };
	struct bus_event e = { .type = 'S',
		.transfer = USBMON_CONTROL,
		.device = disk.device,
		.bus = disk.bus,
		.setup = words };

	feed(&e);
}

static void command(uint32_t tag, uint8_t opcode, uint32_t length, uint64_t sent, uint64_t taken)
{
	uint8_t w[31];

	bus_wrapper(w, tag, opcode, length);
	happens('S', disk.out, 1, sent, -EINPROGRESS, 31, w, 31);
	happens('C', disk.out, 1, taken, 0, 31, NULL, 0);
}

static void status(uint32_t tag, uint8_t code, uint64_t asked, uint64_t came)
{
	uint8_t w[13];

	bus_status(w, tag, code);
	happens('S', disk.in, 1, asked, -EINPROGRESS, 13, NULL, 0);
	happens('C', disk.in, 1, came, 0, 13, w, 13);
}

static void data(uint8_t endpoint, uint64_t urb, uint64_t sent, uint64_t came, uint32_t length)
{
	happens('S', endpoint, urb, sent, -EINPROGRESS, length, NULL, 0);
	happens('C', endpoint, urb, came, 0, length, NULL, 0);
}

static void expect_us(uint64_t command_us, uint64_t data_us, uint64_t status_us, uint64_t host_us)
{
	ck_assert_uint_eq(last.ns[PHASE_COMMAND], command_us * 1000);
	ck_assert_uint_eq(last.ns[PHASE_DATA], data_us * 1000);
	ck_assert_uint_eq(last.ns[PHASE_STATUS], status_us * 1000);
	ck_assert_uint_eq(last.ns[PHASE_HOST], host_us * 1000);
}

/* ---- events ---- */

START_TEST(fields_of_an_event)
{
	struct bus_event e = { 'C', USBMON_BULK, 0x81, 5, 3, UINT64_MAX - 3, 1234567890123, -EPIPE,
		4096, NULL, "abcdef", 6 };
	struct usbmon_event out;

	ck_assert(parse(&out, &e));
	ck_assert_uint_eq(out.urb, UINT64_MAX - 3);
	ck_assert_int_eq(out.type, USBMON_COMPLETED);
	ck_assert_int_eq(out.transfer, USBMON_BULK);
	ck_assert_uint_eq(out.endpoint, 0x81);
	ck_assert_uint_eq(out.at_us, 1234567890123);
	ck_assert_int_eq(out.status, -EPIPE);
	ck_assert_uint_eq(out.length, 4096);
	ck_assert_uint_eq(out.data_bytes, 6);
	ck_assert_mem_eq(out.data, "abcdef", 6);
	ck_assert(!out.has_setup);
	/* Captured, it says, and not there: the ring ends. */
	ck_assert(usbmon_event_parse(&out, bytes, 66, &disk));
	ck_assert_uint_eq(out.data_bytes, 2);
	ck_assert(!usbmon_event_parse(&out, bytes, 63, &disk));
}
END_TEST

START_TEST(others_are_passed_over)
{
	static const struct bus_event others[] = {
		{ .type = 'C', .transfer = USBMON_BULK, .endpoint = 0x81, .device = 6, .bus = 3 },
		{ .type = 'C', .transfer = USBMON_BULK, .endpoint = 0x81, .device = 5, .bus = 4 },
		/* a keyboard that is part of the same device */
		{ .type = 'C',
			.transfer = USBMON_INTERRUPT,
			.endpoint = 0x81,
			.device = 5,
			.bus = 3 },
		{ .type = 'C', .transfer = USBMON_BULK, .endpoint = 0x83, .device = 5, .bus = 3 },
		{ .type = 'C', .transfer = USBMON_CONTROL, .endpoint = 4, .device = 5, .bus = 3 },
		{ .type = 'C',
			.transfer = USBMON_ISOCHRONOUS,
			.endpoint = 0x81,
			.device = 5,
			.bus = 3 },
		{ .type = '@', .transfer = USBMON_BULK, .endpoint = 0x81, .device = 5, .bus = 3 },
	};
	struct usbmon_event out;

	for (size_t i = 0; i < sizeof others / sizeof *others; i++)
		ck_assert_msg(!parse(&out, &others[i]), "event %zu was taken", i);
}
END_TEST

/* What shares the bus with the disk: data in bulk or isochronous, once they were moved. */
START_TEST(what_others_move)
{
	static const struct {
		char type;
		enum usbmon_transfer transfer;
		uint32_t moved;
	} cases[] = { { 'C', USBMON_BULK, 4096 }, { 'C', USBMON_ISOCHRONOUS, 4096 },
		{ 'S', USBMON_BULK, 0 }, { 'E', USBMON_BULK, 0 }, { 'C', USBMON_INTERRUPT, 0 },
		{ 'C', USBMON_CONTROL, 0 } };

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct bus_event e = { .type = cases[i].type,
			.transfer = (uint8_t)cases[i].transfer,
			.endpoint = 0x81,
			.device = 6,
			.bus = 3,
			.length = 4096 };

		bus_event_make(bytes, &e);
		ck_assert_uint_eq(usbmon_event_moved(bytes), cases[i].moved);
	}
}
END_TEST

/* What others send is not even looked at: it lies where looking is fatal. */
START_TEST(what_others_send_is_never_read)
{
	static const struct bus_event keys = { .type = 'C',
		.transfer = USBMON_INTERRUPT,
		.endpoint = 0x81,
		.device = 6,
		.bus = 3,
		.length = 8,
		.data = "\0\0\x0b\0\0\0\0\0",
		.data_bytes = 8 };
	static const struct bus_event answer = { .type = 'C',
		.transfer = USBMON_CONTROL,
		.endpoint = 0x80,
		.device = 5,
		.bus = 3,
		.length = 18,
		.data = "a descriptor, say.",
		.data_bytes = 18 };
	size_t page = (size_t)sysconf(_SC_PAGESIZE);
	uint8_t *ring =
		mmap(NULL, 2 * page, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
	uint8_t *at = ring + page - USBMON_HEADER_BYTES;
	struct usbmon_event out;

	ck_assert_ptr_ne(ring, MAP_FAILED);
	ck_assert_int_eq(mprotect(ring + page, page, PROT_NONE), 0);
	bus_event_make(bytes, &keys);
	memcpy(at, bytes, USBMON_HEADER_BYTES);
	ck_assert(!usbmon_event_parse(&out, at, page, &disk));
	ck_assert_uint_eq(usbmon_event_moved(at), 0);
	/* The disk's own control transfers: their setup alone. */
	bus_event_make(bytes, &answer);
	memcpy(at, bytes, USBMON_HEADER_BYTES);
	ck_assert(usbmon_event_parse(&out, at, page, &disk));
	ck_assert_ptr_null(out.data);
	ck_assert_uint_eq(out.data_bytes, 0);
	munmap(ring, 2 * page);
}
END_TEST

/* ---- commands ---- */

START_TEST(a_read)
{
	command(7, 0x28, 4096, 1000, 1100);
	data(disk.in, 9, 1110, 5110, 4096);
	status(7, 0, 5130, 5190);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(last.opcode, 0x28);
	ck_assert(last.to_host);
	ck_assert_uint_eq(last.data_bytes, 4096);
	ck_assert(!last.host_known);
	ck_assert(!last.failed);
	expect_us(100, 4000, 60, 10 + 20);
	/* The next one: the host's time goes back to this one's end. */
	command(8, 0x28, 4096, 5690, 5700);
	data(disk.in, 9, 5700, 9700, 4096);
	status(8, 0, 9700, 9705);
	ck_assert_uint_eq(ended, 2);
	ck_assert(last.host_known);
	expect_us(10, 4000, 5, 500);
	ck_assert_uint_eq(pairing.broken, 0);
}
END_TEST

/* A scattered buffer goes in several pieces, submitted at once and completed in any order. */
START_TEST(data_in_pieces)
{
	command(1, 0x2a, 12288, 0, 50);
	for (uint64_t i = 0; i < 3; i++)
		happens('S', disk.out, 20 + i, 60 + i, -EINPROGRESS, 4096, "payload", 7);
	happens('C', disk.out, 21, 3000, 0, 4096, NULL, 0);
	happens('C', disk.out, 20, 4000, 0, 4096, NULL, 0);
	happens('C', disk.out, 22, 6060, 0, 4096, NULL, 0);
	status(1, 0, 6060, 9060);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(last.data_bytes, 12288);
	expect_us(50, 6000, 3000, 10);
}
END_TEST

START_TEST(without_data)
{
	command(4, 0x35, 0, 0, 10);
	status(4, 0, 20, 37020);
	ck_assert_uint_eq(ended, 1);
	expect_us(10, 0, 37000, 10);
}
END_TEST

/* 6.7.2: data that ends short, in a stall; the status is asked for after the halt is cleared. */
START_TEST(stalled_data)
{
	command(4, 0x28, 8192, 0, 10);
	happens('S', disk.in, 9, 10, -EINPROGRESS, 8192, NULL, 0);
	happens('C', disk.in, 9, 500, -EPIPE, 4096, NULL, 0);
	control(0x02, 0x01); /* CLEAR_FEATURE of an endpoint */
	status(4, 1, 700, 750);
	ck_assert_uint_eq(ended, 1);
	ck_assert(last.failed);
	ck_assert(last.stalled && !last.passed);
	ck_assert_uint_eq(last.data_bytes, 4096);
	ck_assert_uint_eq(last.asked_bytes, 8192);
	expect_us(10, 490, 50, 200);
}
END_TEST

/* A short packet ends the data by itself; the stall behind it is met by the request for the status, as the kernel's gadget
 * and dummy_hcd do it. */
START_TEST(stalled_behind_a_short_packet)
{
	uint8_t w[13];

	bus_status(w, 4, 0);
	command(4, 0x1a, 192, 0, 10);
	happens('S', disk.in, 9, 10, -EINPROGRESS, 192, NULL, 0);
	happens('C', disk.in, 9, 500, 0, 24, NULL, 0);
	happens('S', disk.in, 1, 510, -EINPROGRESS, 13, NULL, 0);
	happens('C', disk.in, 1, 520, -EPIPE, 0, NULL, 0);
	control(0x02, 0x01);
	happens('S', disk.in, 1, 600, -EINPROGRESS, 13, NULL, 0);
	happens('C', disk.in, 1, 610, 0, 13, w, 13);
	ck_assert_uint_eq(ended, 1);
	ck_assert(last.stalled && last.passed);
	ck_assert_uint_eq(last.data_bytes, 24);
}
END_TEST

/* The same in a short packet alone: 0 where data lies in one piece, EREMOTEIO where in several (Linux usb_sg_init). */
START_TEST(data_that_ends_short)
{
	const int statuses[] = { 0, -EREMOTEIO };

	for (unsigned i = 0; i < 2; i++) {
		command(4 + i, 0x1a, 192, 0, 10);
		happens('S', disk.in, 9, 10, -EINPROGRESS, 192, NULL, 0);
		happens('C', disk.in, 9, 500, statuses[i], 24, NULL, 0);
		status(4 + i, 0, 700, 750);
		ck_assert_uint_eq(ended, i + 1);
		ck_assert(last.passed && !last.stalled);
		ck_assert_uint_eq(last.data_bytes, 24);
		ck_assert_uint_eq(last.asked_bytes, 192);
	}
}
END_TEST

/* 5.3.3, figure 2: a stalled status is asked for again. */
START_TEST(stalled_status)
{
	uint8_t w[13];

	bus_status(w, 4, 0);
	command(4, 0x2a, 512, 0, 10);
	data(disk.out, 9, 10, 110, 512);
	happens('S', disk.in, 1, 110, -EINPROGRESS, 13, NULL, 0);
	happens('C', disk.in, 1, 310, -EPIPE, 0, NULL, 0);
	control(0x02, 0x01);
	happens('S', disk.in, 1, 400, -EINPROGRESS, 13, NULL, 0);
	happens('C', disk.in, 1, 610, 0, 13, w, 13);
	ck_assert_uint_eq(ended, 1);
	ck_assert(last.failed);
	expect_us(10, 100, 500, 0);
}
END_TEST

/* A command whose data is as short as a status, and looks like one. */
START_TEST(thirteen_bytes_of_data)
{
	uint8_t w[13];

	bus_status(w, 99, 0);
	command(4, 0x28, 13, 0, 10);
	happens('S', disk.in, 9, 10, -EINPROGRESS, 13, NULL, 0);
	happens('C', disk.in, 9, 30, 0, 13, w, 13);
	status(4, 0, 30, 40);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(last.data_bytes, 13);
	expect_us(10, 20, 10, 0);
}
END_TEST

/* The host asks for the status at once, whatever it expected. */
START_TEST(no_data_after_all)
{
	command(4, 0x28, 512, 0, 10);
	status(4, 1, 20, 40);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(last.data_bytes, 0);
	expect_us(10, 0, 20, 10);
}
END_TEST

static void broken_off(void)
{
	ck_assert_uint_eq(ended, 0);
	/* The next command is a whole one, with no host's time of its own. */
	command(50, 0x28, 512, 90000, 90010);
	data(disk.in, 9, 90010, 90020, 512);
	status(50, 0, 90020, 90030);
	ck_assert_uint_eq(ended, 1);
	ck_assert(!last.host_known);
	expect_us(10, 10, 10, 0);
	ck_assert_uint_eq(pairing.broken, 1);
}

START_TEST(broken_by_a_reset)
{
	command(4, 0x28, 512, 0, 10);
	control(0x21, 0xff);
	ck_assert_uint_eq(pairing.resets, 1);
	broken_off();
}
END_TEST

START_TEST(broken_by_another_tag)
{
	command(4, 0x28, 512, 0, 10);
	data(disk.in, 9, 10, 20, 512);
	status(5, 0, 30, 40);
	broken_off();
}
END_TEST

START_TEST(broken_by_silence)
{
	command(4, 0x28, 512, 0, 10);
	happens('S', disk.in, 9, 10, -EINPROGRESS, 512, NULL, 0);
	happens('C', disk.in, 9, 30000000, -ECONNRESET, 0, NULL, 0);
	broken_off();
}
END_TEST

START_TEST(broken_by_a_refusal)
{
	command(4, 0x28, 512, 0, 10);
	happens('E', disk.in, 9, 10, -ENODEV, 512, NULL, 0);
	broken_off();
}
END_TEST

/* Which of the drive's units a command is for stands in its wrapper: BOT 1.0, table 5.1, bCBWLUN. */
START_TEST(another_unit)
{
	uint8_t w[31];

	bus_wrapper(w, 4, 0x28, 0);
	w[13] = 3;
	happens('S', disk.out, 1, 0, -EINPROGRESS, 31, w, 31);
	happens('C', disk.out, 1, 10, 0, 31, NULL, 0);
	status(4, 0, 20, 40);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(last.lun, 3);
}
END_TEST

/* Half a command that began before anybody watched is no command. */
START_TEST(begins_in_the_middle)
{
	data(disk.in, 9, 10, 20, 512);
	status(5, 0, 30, 40);
	ck_assert_uint_eq(ended, 0);
	ck_assert_uint_eq(pairing.broken, 0);
}
END_TEST

START_TEST(a_clock_set_back)
{
	command(4, 0x28, 512, 5000, 5010);
	data(disk.in, 9, 5010, 5100, 512);
	status(4, 0, 1000, 1010);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(pairing.backwards, 1);
}
END_TEST

/* A second drive on the bus, with the same endpoints, URBs and tags, and a keyboard beside it: the disk's commands come out
 * as they do without them. */
START_TEST(a_second_device)
{
	uint8_t w[31];
	struct bus_event other = { .type = 'S',
		.transfer = USBMON_BULK,
		.endpoint = disk.out,
		.device = 6,
		.bus = disk.bus,
		.urb = 1,
		.length = 31,
		.data = w,
		.data_bytes = 31 };
	struct bus_event key = { .type = 'C',
		.transfer = USBMON_INTERRUPT,
		.endpoint = disk.in,
		.device = 7,
		.bus = disk.bus,
		.urb = 9,
		.length = 8,
		.data = "\0\0\x0b\0\0\0\0\0",
		.data_bytes = 8 };

	bus_wrapper(w, 7, 0x2a, 512);
	command(7, 0x28, 4096, 1000, 1100);
	feed(&other);
	feed(&key);
	data(disk.in, 9, 1110, 5110, 4096);
	feed(&key);
	feed(&other);
	status(7, 0, 5130, 5190);
	ck_assert_uint_eq(ended, 1);
	ck_assert_uint_eq(last.opcode, 0x28);
	ck_assert_uint_eq(pairing.broken, 0);
	expect_us(100, 4000, 60, 30);
}
END_TEST

/* ---- captures from the rig ---- */

/* What all commands of one opcode add up to. The sums were made by another program, a few lines of Python that read the same
 * bytes by the kernel's documentation. */
struct sums {
	unsigned commands; /* of all opcodes */
	unsigned of;
	uint64_t bytes, us[COMMAND_PHASES];
};

static void add_up(struct sums *s, const struct command_times *c, uint8_t opcode)
{
	s->commands++;
	if (c->opcode != opcode)
		return;
	s->of++;
	s->bytes += c->data_bytes;
	for (int i = 0; i < COMMAND_PHASES; i++)
		s->us[i] += c->ns[i] / 1000;
}

/* The captures were made on a little-endian host; the kernel gives numbers in the order of its own (its usbmon.rst). */
static void order_as_host(uint8_t *header)
{
	static const struct {
		uint8_t at, bytes;
	} numbers[] = { { 0, 8 }, { 12, 2 }, { 16, 8 }, { 24, 4 }, { 28, 4 }, { 32, 4 }, { 36, 4 },
		{ 48, 4 }, { 52, 4 }, { 56, 4 }, { 60, 4 } };
	const uint16_t one = 1;

	if (*(const uint8_t *)&one)
		return;
	for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
		for (size_t k = 0; k < numbers[i].bytes / 2u; k++) {
			uint8_t *low = header + numbers[i].at + k;
			uint8_t *high = header + numbers[i].at + numbers[i].bytes - 1 - k;
			uint8_t was = *low;

			*low = *high;
			*high = was;
		}
}

static struct sums read_capture(
	const char *path, const struct usbmon_filter *filter, uint8_t opcode)
{
	struct pairing p = { .stage = PAIRING_IDLE };
	struct sums sums = { 0 };
	struct usbmon_event e;
	struct command_times c;
	FILE *f = fopen(path, "r");

	ck_assert_msg(f, "%s", path);
	while (fread(bytes, 1, USBMON_HEADER_BYTES, f) == USBMON_HEADER_BYTES) {
		size_t n;

		order_as_host(bytes);
		n = usbmon_event_bytes(bytes);
		ck_assert_uint_le(n, sizeof bytes);
		ck_assert_uint_eq(fread(bytes + USBMON_HEADER_BYTES, 1, n - USBMON_HEADER_BYTES, f),
			n - USBMON_HEADER_BYTES);
		if (!usbmon_event_parse(&e, bytes, n, filter))
			continue;
		ck_assert_msg(!e.data || !memmem(e.data, e.data_bytes, "PRIVATE", 7) ||
				      filter->device == 3,
			"another's data was handed out");
		if (pairing_take(&p, &e, &c))
			add_up(&sums, &c, opcode);
	}
	ck_assert_uint_eq(p.broken, 0);
	fclose(f);
	return sums;
}

static void expect_sums(const struct sums *got, const struct sums *wanted)
{
	ck_assert_uint_eq(got->commands, wanted->commands);
	ck_assert_uint_eq(got->of, wanted->of);
	ck_assert_uint_eq(got->bytes, wanted->bytes);
	for (int i = 0; i < COMMAND_PHASES; i++)
		ck_assert_msg(got->us[i] == wanted->us[i], "phase %d: %llu us, not %llu", i,
			(unsigned long long)got->us[i], (unsigned long long)wanted->us[i]);
}

/* A full-speed stick: 4 reads of 16 KiB and 4 writes of 4 KiB by dd, and what the kernel asks around them. */
START_TEST(a_stick)
{
	static const struct usbmon_filter stick = {
		.bus = 1, .device = 2, .in = 0x81, .out = 0x02
	};
	static const struct sums reads = { 15, 4, 65536, { 11316, 57262, 1436, 42893 } };
	static const struct sums writes = { 15, 4, 16384, { 3429, 19551, 6535, 20305 } };
	struct sums got = read_capture("tests/data/stick.usbmon", &stick, 0x28);

	expect_sums(&got, &reads);
	got = read_capture("tests/data/stick.usbmon", &stick, 0x2a);
	expect_sums(&got, &writes);
}
END_TEST

/* Two drives on one bus, with the same endpoints, at work at the same time; what the second holds is not ours to see. */
START_TEST(two_sticks)
{
	static const struct usbmon_filter own = { .bus = 3, .device = 2, .in = 0x81, .out = 0x02 },
					  other = {
						  .bus = 3, .device = 3, .in = 0x81, .out = 0x02
					  };
	static const struct sums ours = { 14, 8, 29184, { 5587, 647, 99, 109337 } };
	static const struct sums theirs = { 15, 11, 45056, { 21778, 8154, 1416, 64391 } };
	struct sums got = read_capture("tests/data/two-sticks.usbmon", &own, 0x28);

	expect_sums(&got, &ours);
	got = read_capture("tests/data/two-sticks.usbmon", &other, 0x28);
	expect_sums(&got, &theirs);
}
END_TEST

/* ---- events kept for later ---- */

struct kept {
	unsigned count;
	uint64_t urb;
	uint8_t data[64];
	uint32_t data_bytes;
};

static void keep(void *context, const struct usbmon_event *e)
{
	struct kept *k = context;

	ck_assert_uint_le(e->data_bytes, sizeof k->data);
	k->count++;
	k->urb = e->urb;
	k->data_bytes = e->data_bytes;
	if (e->data_bytes)
		memcpy(k->data, e->data, e->data_bytes);
}

static bool log_event(
	struct usbmon_log *log, uint8_t device, uint64_t urb, const void *data, uint32_t n)
{
	struct bus_event e = { .type = 'S',
		.transfer = USBMON_BULK,
		.endpoint = disk.out,
		.device = device,
		.bus = disk.bus,
		.urb = urb,
		.length = 4096,
		.data = data,
		.data_bytes = n };
	size_t length = bus_event_make(bytes, &e);

	/* What lies behind it in the ring is somebody else's. */
	memset(bytes + length, 0xee, sizeof bytes - length);
	return usbmon_log_add(log, bytes, sizeof bytes, &disk);
}

static bool holds(const struct usbmon_log *log, uint8_t byte)
{
	return memchr(log->events, byte, log->room * USBMON_LOG_EVENT) != NULL;
}

START_TEST(a_log_keeps_what_is_the_disks)
{
	uint8_t payload[64];
	struct usbmon_log log;
	struct kept k = { 0 };

	ck_assert_int_eq(usbmon_log_init(&log, 2), 0);
	memset(payload, 0xdd, sizeof payload);
	ck_assert(log_event(&log, 9, 1, payload, 64)); /* a keyboard's */
	ck_assert_uint_eq(log.count, 0);
	ck_assert(!holds(&log, 0xdd));
	memset(payload, 0x5a, sizeof payload);
	ck_assert(log_event(&log, disk.device, 2, payload, 13));
	ck_assert(log_event(&log, disk.device, 3, payload, 64));
	/* No room: said for the disk's own alone, and none of what was kept is lost. */
	ck_assert(!log_event(&log, disk.device, 4, NULL, 0));
	ck_assert(log_event(&log, 9, 5, NULL, 0));
	ck_assert(!holds(&log, 0xee));
	usbmon_log_hand_over(&log, &disk, keep, &k);
	ck_assert_uint_eq(k.count, 2);
	ck_assert_uint_eq(k.urb, 3);
	ck_assert_uint_eq(k.data_bytes, USBMON_LOG_DATA);
	ck_assert_mem_eq(k.data, payload, USBMON_LOG_DATA);
	ck_assert(log_event(&log, disk.device, 4, payload, 13));
	usbmon_log_hand_over(&log, &disk, keep, &k);
	ck_assert_uint_eq(k.count, 3);
	ck_assert_uint_eq(k.data_bytes, 13);
	/* Its end is missing. */
	ck_assert(usbmon_log_add(&log, bytes, USBMON_HEADER_BYTES - 1, &disk));
	ck_assert_uint_eq(log.count, 0);
	usbmon_log_release(&log);
}
END_TEST

Suite *usbmon_suite(void)
{
	Suite *s = suite_create("usbmon");
	TCase *t = tcase_create("events");

	tcase_add_test(t, fields_of_an_event);
	tcase_add_test(t, others_are_passed_over);
	tcase_add_test(t, what_others_move);
	tcase_add_test(t, what_others_send_is_never_read);
	suite_add_tcase(s, t);
	t = tcase_create("commands");
	tcase_add_checked_fixture(t, setup, NULL);
	tcase_add_test(t, a_read);
	tcase_add_test(t, data_in_pieces);
	tcase_add_test(t, without_data);
	tcase_add_test(t, stalled_data);
	tcase_add_test(t, stalled_behind_a_short_packet);
	tcase_add_test(t, data_that_ends_short);
	tcase_add_test(t, stalled_status);
	tcase_add_test(t, thirteen_bytes_of_data);
	tcase_add_test(t, no_data_after_all);
	tcase_add_test(t, broken_by_a_reset);
	tcase_add_test(t, broken_by_another_tag);
	tcase_add_test(t, broken_by_silence);
	tcase_add_test(t, broken_by_a_refusal);
	tcase_add_test(t, another_unit);
	tcase_add_test(t, begins_in_the_middle);
	tcase_add_test(t, a_clock_set_back);
	tcase_add_test(t, a_second_device);
	suite_add_tcase(s, t);
	t = tcase_create("captures");
	tcase_add_test(t, a_stick);
	tcase_add_test(t, two_sticks);
	suite_add_tcase(s, t);
	t = tcase_create("log");
	tcase_add_test(t, a_log_keeps_what_is_the_disks);
	suite_add_tcase(s, t);
	return s;
}
