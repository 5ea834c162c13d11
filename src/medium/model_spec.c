/* The text of a gadget model: the table of keys, the lines. What must fit together is in model_check.c. */
#include "medium/model_spec.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/number.h"
#include "base/size.h"
#include "medium/model_check.h"
#include "medium/model_value.h"

enum value_type { TEXT, SIZE, COUNT, RATE, TIME, PERCENT, YES_NO, CHOICE, ONE_IN, RANGE, BYTE };

struct key {
	const char *section, *name;
	enum value_type type;
	size_t offset;
	double min, max; /* TEXT: max is the room; bytes, counts, B/s, ns, fractions */
	const char *choices; /* CHOICE: words in the order of the enum, with blanks between */
};

#define AT(member) offsetof(struct model_spec, member)
#define TIB (1024.0 * 1024 * 1024 * 1024)
#define SECOND 1e9

static const struct key keys[] = {
	{ "device", "name", TEXT, AT(device.name), 1, sizeof(((struct model_device *)0)->name),
		NULL },
	{ "device", "vendor", TEXT, AT(device.vendor), 1,
		sizeof(((struct model_device *)0)->vendor), NULL },
	{ "device", "product", TEXT, AT(device.product), 1,
		sizeof(((struct model_device *)0)->product), NULL },
	{ "device", "revision", TEXT, AT(device.revision), 1,
		sizeof(((struct model_device *)0)->revision), NULL },
	{ "device", "serial", TEXT, AT(device.serial), 1,
		sizeof(((struct model_device *)0)->serial), NULL },
	{ "device", "capacity", SIZE, AT(device.capacity_bytes), 4096, 8 * TIB, NULL },
	{ "device", "block", SIZE, AT(device.block_bytes), 512, 4096, NULL },
	{ "device", "fill", BYTE, AT(device.fill), 0, 255, NULL },
	{ "device", "seed", COUNT, AT(device.seed), 0, 1.8446744073709552e19, NULL },
	{ "device", "jitter", PERCENT, AT(device.jitter), 0, 0.2, NULL },
	{ "device", "not known", TEXT, AT(device.not_known), 1,
		sizeof(((struct model_device *)0)->not_known), NULL },
	{ "link", "speed", CHOICE, AT(link.speed), 0, 0, "none full high" },
	{ "link", "frames", YES_NO, AT(link.frames), 0, 0, NULL },
	{ "link", "rate", RATE, AT(link.rate), 1000, HUGE_VAL, NULL },
	{ "link", "request cost", TIME, AT(link.request_cost_ns), 0, 10 * SECOND, NULL },
	{ "link", "host gap", TIME, AT(link.host_gap_ns), 0, 10 * SECOND, NULL },
	{ "link", "request limit", SIZE, AT(link.request_limit_bytes), 4096, MODEL_REQUEST_MAX,
		NULL },
	{ "card", "read rate", RATE, AT(card.read_rate), 1000, HUGE_VAL, NULL },
	{ "card", "write rate", RATE, AT(card.write_rate), 1000, HUGE_VAL, NULL },
	{ "card", "read command cost", TIME, AT(card.read_command_ns), 0, 10 * SECOND, NULL },
	{ "card", "write command cost", TIME, AT(card.write_command_ns), 0, 10 * SECOND, NULL },
	{ "card", "read sector cost", TIME, AT(card.read_sector_ns), 0, SECOND, NULL },
	{ "card", "write sector cost", TIME, AT(card.write_sector_ns), 0, SECOND, NULL },
	{ "card", "write unit", SIZE, AT(card.write_unit_bytes), 512, 16 << 20, NULL },
	{ "card", "stall every", SIZE, AT(card.stall_every_bytes), 512, 8 * TIB, NULL },
	{ "card", "stall time", TIME, AT(card.stall_ns), 0, 100 * SECOND, NULL },
	{ "firmware", "unit", CHOICE, AT(firmware.unit), 0, 0, "sector request" },
	{ "firmware", "transfer", CHOICE, AT(firmware.transfer), 0, 0,
		"store-and-forward overlapped" },
	{ "firmware", "chunk", SIZE, AT(firmware.chunk_bytes), 512, MODEL_REQUEST_MAX, NULL },
	{ "firmware", "request cost", TIME, AT(firmware.request_cost_ns), 0, 10 * SECOND, NULL },
	{ "firmware", "write behind", SIZE, AT(firmware.write_behind_bytes), 512,
		MODEL_WRITE_BEHIND_MAX, NULL },
	{ "firmware", "reads", CHOICE, AT(firmware.reads), 0, 0, "drain-first from-buffer" },
	{ "firmware", "drain", CHOICE, AT(firmware.drain), 0, 0,
		"at-once after-idle on-flush before-next" },
	{ "firmware", "idle time", TIME, AT(firmware.idle_ns), 0, 100 * SECOND, NULL },
	{ "firmware", "when full", CHOICE, AT(firmware.when_full), 0, 0, "block all" },
	{ "claims", "caching page", YES_NO, AT(claims.caching_page), 0, 0, NULL },
	{ "claims", "write cache", YES_NO, AT(claims.write_cache), 0, 0, NULL },
	{ "claims", "fua", YES_NO, AT(claims.fua), 0, 0, NULL },
	{ "claims", "synchronize cache", YES_NO, AT(claims.synchronize_cache), 0, 0, NULL },
	{ "claims", "write protected", YES_NO, AT(claims.write_protected), 0, 0, NULL },
	{ "claims", "removable", YES_NO, AT(claims.removable), 0, 0, NULL },
	{ "faults", "lose write", ONE_IN, AT(faults.lose_write), 1, 1e9, NULL },
	{ "faults", "lose flushed write", ONE_IN, AT(faults.lose_flushed), 1, 1e9, NULL },
	{ "faults", "ignore flush", YES_NO, AT(faults.ignore_flush), 0, 0, NULL },
	{ "faults", "flush leaves", SIZE, AT(faults.flush_leaves_bytes), 512,
		MODEL_WRITE_BEHIND_MAX, NULL },
	{ "faults", "ignore fua", YES_NO, AT(faults.ignore_fua), 0, 0, NULL },
	{ "faults", "stale reads", YES_NO, AT(faults.stale_reads), 0, 0, NULL },
	{ "faults", "reorder overlaps", YES_NO, AT(faults.reorder_overlaps), 0, 0, NULL },
	{ "faults", "torn sectors", YES_NO, AT(faults.torn_sectors), 0, 0, NULL },
	{ "faults", "past end accepted", YES_NO, AT(faults.past_end_accepted), 0, 0, NULL },
	{ "faults", "eject without drain", YES_NO, AT(faults.eject_without_drain), 0, 0, NULL },
	{ "faults", "bad range", RANGE, AT(faults.bad_range), 0, 0, NULL },
	{ "faults", "bad range report", CHOICE, AT(faults.bad_report), 0, 0,
		"deferred flush never" },
	{ "faults", "real capacity", SIZE, AT(faults.real_capacity_bytes), 4096, 8 * TIB, NULL },
	{ "faults", "beyond", CHOICE, AT(faults.beyond), 0, 0, "wraps drops block slot half" },
	{ "faults", "slip bytes", COUNT, AT(faults.slip_bytes), 1, 511, NULL },
	{ "faults", "slip write", ONE_IN, AT(faults.slip_write), 1, 1e9, NULL },
	{ "faults", "slip direction", CHOICE, AT(faults.slip_direction), 0, 0, "late early" },
	{ "faults", "flip bit every", SIZE, AT(faults.flip_every_bytes), 512, 8 * TIB, NULL },
	{ "faults", "stuck line", COUNT, AT(faults.stuck_bit), 0, 7, NULL },
	{ "faults", "stuck level", CHOICE, AT(faults.stuck_level), 0, 0, "low high" },
	{ "faults", "drop last sector", ONE_IN, AT(faults.drop_last_sector), 1, 1e9, NULL },
	{ "faults", "off by one sector", ONE_IN, AT(faults.off_by_one), 1, 1e9, NULL },
	{ "faults", "unreadable range", RANGE, AT(faults.unreadable), 0, 0, NULL },
	{ "faults", "twice range", RANGE, AT(faults.twice), 0, 0, NULL },
	{ "faults", "unknown command", CHOICE, AT(faults.unknown_command), 0, 0,
		"refused silence stall" },
	{ "faults", "short answer", CHOICE, AT(faults.short_answer), 0, 0, "stalled ended lost" },
	{ "faults", "wrong tag", ONE_IN, AT(faults.wrong_tag), 1, 1e9, NULL },
	{ "faults", "wrong residue", ONE_IN, AT(faults.wrong_residue), 1, 1e9, NULL },
	{ "faults", "mode sense", CHOICE, AT(faults.mode_sense), 0, 0, "right long short" },
	{ "faults", "vital pages confused", YES_NO, AT(faults.vital_confused), 0, 0, NULL },
	{ "faults", "vital pages unanswered", YES_NO, AT(faults.vital_unanswered), 0, 0, NULL },
	{ "faults", "sense stays", YES_NO, AT(faults.sense_stays), 0, 0, NULL },
	{ "faults", "prevent accepted", YES_NO, AT(faults.prevent_accepted), 0, 0, NULL },
	{ "faults", "stays after eject", YES_NO, AT(faults.stays_after_eject), 0, 0, NULL },
	{ "faults", "ignore reset", YES_NO, AT(faults.ignore_reset), 0, 0, NULL },
	{ "events", "card swapped at", COUNT, AT(events.swap_at), 1, 1e12, NULL },
	{ "events", "swap told by", CHOICE, AT(events.swap_told), 0, 0,
		"attention sequence reset" },
	{ "events", "unplugged at", COUNT, AT(events.unplug_at), 1, 1e12, NULL },
	{ "events", "reset at", COUNT, AT(events.reset_at), 1, 1e12, NULL },
};

enum { KEY_COUNT = sizeof keys / sizeof *keys, LINE_MAX_BYTES = 400 };

bool model_spec_key(size_t index, const char **section, const char **key)
{
	if (index >= KEY_COUNT)
		return false;
	*section = keys[index].section;
	*key = keys[index].name;
	return true;
}

static bool is_key(const struct key *k, const char *section, const char *name)
{
	return !strcmp(k->section, section) && !strcmp(k->name, name);
}

struct parser {
	struct model_spec *spec;
	const char *name; /* of the file */
	unsigned line;
	bool versioned;
	const char *section; /* of the table; NULL before the first heading */
	unsigned given[KEY_COUNT]; /* line of each key, 0: not given */
	struct error *err;
};

static const char *expected(const struct key *k)
{
	static const char *const texts[] = {
		[TEXT] = "a short text",
		[SIZE] = "a size such as 512, 4Ki, 64Mi or 8GB",
		[COUNT] = "a whole number",
		[RATE] = "a rate such as 870 kB/s or 1.2 MB/s, at least 1 kB/s, or unlimited",
		[TIME] = "a time such as 80 us, 0.25 ms or 1 s",
		[PERCENT] = "a percentage such as 2.5 %",
		[YES_NO] = "yes or no",
		[ONE_IN] = "a frequency such as 1 in 50",
		[RANGE] = "a range START+LENGTH such as 1Mi+4Ki",
		[BYTE] = "a byte such as 00h or FFh",
	};

	return k->type == CHOICE ? k->choices : texts[k->type];
}

static int bad_value(const struct parser *p, const struct key *k, const char *value)
{
	return error_set(p->err, ERROR_USAGE, "%s:%u: %s: '%s' is '%s'; expected %s%s", p->name,
		p->line, k->section, k->name, value, k->type == CHOICE ? "one of: " : "",
		expected(k));
}

static void format_limit(char buf[SIZE_TEXT_MAX], const struct key *k, double value)
{
	switch (k->type) {
	case SIZE:
		size_format(buf, (uint64_t)value);
		break;
	case TIME:
		duration_format(buf, value / 1e9);
		break;
	case PERCENT:
		snprintf(buf, SIZE_TEXT_MAX, "%g %%", value * 100);
		break;
	default:
		snprintf(buf, SIZE_TEXT_MAX, "%s%.0f", k->type == ONE_IN ? "1 in " : "", value);
	}
}

static int out_of_range(const struct parser *p, const struct key *k, const char *value)
{
	char low[SIZE_TEXT_MAX], high[SIZE_TEXT_MAX];

	if (k->type == TEXT)
		return error_set(p->err, ERROR_USAGE,
			"%s:%u: %s: '%s' is '%s'; expected at most %.0f printable ASCII characters",
			p->name, p->line, k->section, k->name, value, k->max - 1);
	if (k->type == RANGE || k->type == RATE)
		return bad_value(p, k, value);
	format_limit(low, k, k->min);
	format_limit(high, k, k->max);
	return error_set(p->err, ERROR_USAGE, "%s:%u: %s: '%s' is '%s'; expected %s to %s", p->name,
		p->line, k->section, k->name, value, low, high);
}

static int choose(const char *words, const char *value, int *out)
{
	size_t length = strlen(value);

	for (*out = 0; *words; (*out)++) {
		size_t n = strcspn(words, " ");

		if (n == length && !memcmp(words, value, n))
			return 0;
		words += n + (words[n] == ' ');
	}
	return -EINVAL;
}

static int put_text(char *to, const struct key *k, const char *value)
{
	size_t length = strlen(value);

	for (const char *c = value; *c; c++)
		if (*c < 0x20 || *c > 0x7e)
			return -ERANGE;
	if (length >= (size_t)k->max)
		return -ERANGE;
	memcpy(to, value, length + 1);
	return 0;
}

static int put_whole(uint64_t *to, const struct key *k, const char *value)
{
	int rc = k->type == SIZE     ? size_parse(value, to)
		 : k->type == ONE_IN ? model_value_one_in(value, to)
		 : k->type == BYTE   ? model_value_byte(value, to)
				     : number_parse_u64(value, to);

	if (!rc && ((double)*to < k->min || (double)*to > k->max))
		return -ERANGE;
	return rc;
}

static int put_real(double *to, const struct key *k, const char *value)
{
	int rc = k->type == RATE   ? model_value_rate(value, to)
		 : k->type == TIME ? model_value_time(value, to)
				   : model_value_percent(value, to);

	if (!rc && (*to < k->min || *to > k->max))
		return -ERANGE;
	return rc;
}

static int put(struct model_spec *s, const struct key *k, const char *value)
{
	void *to = (char *)s + k->offset;

	switch (k->type) {
	case TEXT:
		return put_text(to, k, value);
	case YES_NO:
		return choose("no yes", value, to);
	case CHOICE:
		return choose(k->choices, value, to);
	case RANGE:
		return model_value_range(value, to);
	case RATE:
	case TIME:
	case PERCENT:
		return put_real(to, k, value);
	default:
		return put_whole(to, k, value);
	}
}

static char *trim(char *text)
{
	size_t n;

	text += strspn(text, " \t");
	n = strlen(text);
	while (n && (text[n - 1] == ' ' || text[n - 1] == '\t' || text[n - 1] == '\r'))
		text[--n] = 0;
	return text;
}

static int unknown_key(const struct parser *p, const char *name)
{
	error_set(p->err, ERROR_USAGE,
		"%s:%u: %s: there is no '%s' here; expected one of:", p->name, p->line, p->section,
		name);
	for (size_t i = 0; i < KEY_COUNT; i++)
		if (!strcmp(keys[i].section, p->section))
			error_add(p->err, " '%s'", keys[i].name);
	return -1;
}

static int take_pair(struct parser *p, char *name, char *value)
{
	int rc;
	size_t i = 0;

	if (!p->section)
		return error_set(p->err, ERROR_USAGE,
			"%s:%u: '%s' stands outside a section; expected a heading such as 'link:' "
			"above it",
			p->name, p->line, name);
	while (i < KEY_COUNT && !is_key(&keys[i], p->section, name))
		i++;
	if (i == KEY_COUNT)
		return unknown_key(p, name);
	if (p->given[i])
		return error_set(p->err, ERROR_USAGE,
			"%s:%u: %s: '%s' is given twice; expected it once (line %u has it already)",
			p->name, p->line, p->section, name, p->given[i]);
	p->given[i] = p->line;
	rc = *value ? put(p->spec, &keys[i], value) : -EINVAL;
	if (rc == -ERANGE)
		return out_of_range(p, &keys[i], value);
	return rc < 0 ? bad_value(p, &keys[i], value) : 0;
}

static int take_heading(struct parser *p, const char *name)
{
	for (size_t i = 0; i < KEY_COUNT; i++) {
		if (!strcmp(keys[i].section, name)) {
			p->section = keys[i].section;
			return 0;
		}
	}
	return error_set(p->err, ERROR_USAGE,
		"%s:%u: there is no section '%s'; expected device, link, card, firmware, claims, "
		"faults or events",
		p->name, p->line, name);
}

static int take_line(struct parser *p, char *line)
{
	char *equals, *hash = strchr(line, '#');
	size_t length;

	if (hash)
		*hash = 0;
	line = trim(line);
	length = strlen(line);
	if (!length)
		return 0;
	if (!p->versioned) {
		p->versioned = !strcmp(line, "gadget-model 1");
		return p->versioned
			       ? 0
			       : error_set(p->err, ERROR_USAGE,
					 "%s:%u: this is not a gadget model that this version can "
					 "read; expected 'gadget-model 1' as the first line",
					 p->name, p->line);
	}
	equals = strchr(line, '=');
	if (!equals && line[length - 1] == ':') {
		line[length - 1] = 0;
		return take_heading(p, trim(line));
	}
	if (!equals)
		return error_set(p->err, ERROR_USAGE,
			"%s:%u: '%s' is neither a heading nor a setting; expected 'section:' or "
			"'key = value'",
			p->name, p->line, line);
	*equals = 0;
	return take_pair(p, trim(line), trim(equals + 1));
}

static int take_lines(struct parser *p, const char *text, size_t length)
{
	char line[LINE_MAX_BYTES];

	while (length) {
		const char *end = memchr(text, '\n', length);
		size_t n = end ? (size_t)(end - text) : length;

		p->line++;
		if (n >= sizeof line || memchr(text, 0, n))
			return error_set(p->err, ERROR_USAGE,
				"%s:%u: the line is too long or has a NUL byte in it; expected "
				"text of less than %d characters a line",
				p->name, p->line, LINE_MAX_BYTES);
		memcpy(line, text, n);
		line[n] = 0;
		if (take_line(p, line) < 0)
			return -1;
		text += n + (end != NULL);
		length -= n + (end != NULL);
	}
	if (p->versioned)
		return 0;
	return error_set(p->err, ERROR_USAGE,
		"%s: the file is empty; expected 'gadget-model 1' as the first line", p->name);
}

static unsigned line_of(const void *parser, const char *section, const char *name)
{
	const struct parser *p = parser;

	for (size_t i = 0; i < KEY_COUNT; i++)
		if (is_key(&keys[i], section, name))
			return p->given[i];
	return 0;
}

int model_spec_parse(
	struct model_spec *s, const char *text, size_t length, const char *name, struct error *err)
{
	struct parser p = { .spec = s, .name = name, .err = err };

	model_spec_defaults(s);
	if (take_lines(&p, text, length) < 0)
		return -1;
	return model_spec_check(s, name, line_of, &p, err);
}

static int read_file(int fd, char *text, size_t room, size_t *length)
{
	*length = 0;
	while (*length < room) {
		ssize_t n = read(fd, text + *length, room - *length);

		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return -errno;
		if (!n)
			break;
		*length += (size_t)n;
	}
	return 0;
}

static int parse_opened(struct model_spec *s, int fd, const char *path, struct error *err)
{
	char *text = malloc(MODEL_TEXT_MAX + 1);
	size_t length = 0;
	int rc;

	if (!text)
		return error_set(err, ERROR_IO, "out of memory");
	rc = read_file(fd, text, MODEL_TEXT_MAX + 1, &length);
	if (rc < 0)
		rc = error_sys(err, ERROR_IO, -rc, "cannot read the gadget model '%s'", path);
	else if (length > MODEL_TEXT_MAX)
		rc = error_set(err, ERROR_USAGE,
			"'%s' is too large for a gadget model; expected at most %d KiB of text",
			path, MODEL_TEXT_MAX / 1024);
	else
		rc = model_spec_parse(s, text, length, path, err);
	free(text);
	return rc;
}

int model_spec_load(struct model_spec *s, const char *path, struct error *err)
{
	int fd, rc;

	fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (fd < 0)
		return error_sys(err, errno == ENOENT || errno == ENOTDIR ? ERROR_USAGE : ERROR_IO,
			errno, "cannot open the gadget model '%s'", path);
	rc = parse_opened(s, fd, path, err);
	close(fd);
	return rc;
}
