/* A target opened for a command: examined, judged, opened, consented to, and closed with its data put back. */
#include "cli/session.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/contents.h"
#include "cli/device_openers.h"
#include "cli/image.h"
#include "cli/kept_search.h"
#include "cli/message.h"
#include "cli/out_path.h"
#include "cli/region.h"
#include "cli/session_keep.h"
#include "cli/whole_file.h"
#include "medium/device_traits.h"
#include "medium/model.h"
#include "medium/telltale.h"
#include "platform/blockdev.h"
#include "platform/guard.h"
#include "platform/hold.h"
#include "record/file.h"

struct session_own {
	char target[512];
	bool created; /* by --create, this time */
	bool began; /* writes were allowed: from here on a created image is worth keeping */
	bool is_device;
	bool ended; /* all that a run that wrote has to do at its end is done */
	bool writes; /* opened for writing */
	bool fixed_allowed;
	const struct kept_identity *restores; /* what is to be put back, else NULL */
	struct blockdev device; /* as examined before it was opened */
	struct hold *hold; /* of an image, or of the file beneath a loop device; NULL: none */
	struct kept_identity identity;
	struct session_keep keep;
};

/* ---- options ---- */

static int excluded(enum option_id a, enum option_id b, const char *why, struct error *err)
{
	return error_set(err, ERROR_USAGE, "--%s and --%s exclude each other: %s",
		option_spec(a)->name, option_spec(b)->name, why);
}

static int check_options(const struct options *o, enum session_need need, struct error *err)
{
	static const enum option_id consents[] = { OPTION_ERASE, OPTION_KEEP_DATA,
		OPTION_FIXED_DISK };

	for (size_t i = 0; i < sizeof consents / sizeof *consents; i++)
		if (need == SESSION_READS && o->given[consents[i]])
			return error_set(err, ERROR_USAGE,
				"--%s is for writing, but this run only reads; ask for writing too "
				"(sweep: --direction write), or leave it out",
				option_spec(consents[i])->name);
	if (!o->given[OPTION_CREATE])
		return 0;
	if (o->given[OPTION_ERASE])
		return excluded(OPTION_CREATE, OPTION_ERASE,
			"a new image needs no consent to be written", err);
	if (o->given[OPTION_KEEP_DATA])
		return excluded(
			OPTION_CREATE, OPTION_KEEP_DATA, "a new image holds nothing to keep", err);
	if (model_is_target(o->args[0]))
		return error_set(err, ERROR_USAGE,
			"--create makes an image file, but '%s' is a model", o->args[0]);
	return 0;
}

/* ---- examining and opening ---- */

/* Asked for already when the run was, if this is the disk it wrote to. */
static bool may_be_fixed(const struct blockdev *d, const struct kept_identity *id)
{
	char token[GUARD_TOKEN_MAX];

	guard_token_of_device(token, d);
	return !strcmp(token, id->token);
}

static int judge_device(struct session *s, bool write, struct error *err)
{
	struct session_own *own = s->own;
	struct guard_verdict verdict;

	guard_token_of_device(s->token, &own->device);
	if (!write)
		return 0;
	if (own->restores)
		own->fixed_allowed = may_be_fixed(&own->device, own->restores);
	if (guard_check_device(&verdict, NULL, &own->device, own->fixed_allowed, err) < 0)
		return -1;
	return verdict.may_write ? 0 : error_set(err, ERROR_REFUSED, "%s", verdict.sentence);
}

static int judge_image(struct session *s, bool write, struct error *err)
{
	const struct hold *hold = s->own->hold;
	struct guard_verdict verdict;
	struct usage usage = { 0 };
	struct stat st;
	bool known =
		!write || (hold_stat(hold, &st) == 0 && usage_read_file(&usage, NULL, &st) == 0);

	guard_judge_image(&verdict, s->own->target, hold_place(hold), known ? &usage : NULL);
	text_copy(s->token, sizeof s->token, verdict.token);
	return !write || verdict.may_write ? 0
					   : error_set(err, ERROR_REFUSED, "%s", verdict.sentence);
}

static int examine_device(struct session *s, bool write, struct error *err)
{
	struct session_own *own = s->own;
	struct stat st;

	if (stat(own->target, &st) < 0 || !S_ISBLK(st.st_mode))
		return 0;
	own->is_device = true;
	blockdev_look(own->target);
	if (blockdev_read_by_number(&own->device, NULL, major(st.st_rdev), minor(st.st_rdev), err) <
		0)
		return -1;
	text_copy(own->identity.place, sizeof own->identity.place, own->device.backing_file);
	if (judge_device(s, write, err) < 0)
		return -1;
	if (!own->hold &&
		hold_device(&own->hold, own->device.disk, own->device.node, write, err) < 0)
		return -1;
	return write ? hold_for_writing(own->hold, err) : 0;
}

/* Held from the first look on: when it is opened again, it is the same hold. */
static int examine_image(struct session *s, bool write, struct error *err)
{
	struct session_own *own = s->own;

	if (whole_file_is_record(own->target))
		return error_set(err, ERROR_REFUSED,
			"'%s' is a record of a run, not a target; 'blkassay report' shows it",
			own->target);
	text_copy(own->identity.place, sizeof own->identity.place, hold_place(own->hold));
	if (judge_image(s, write, err) < 0)
		return -1;
	return write ? hold_for_writing(own->hold, err) : 0;
}

/* What is neither a device nor a file, or missing, is left to medium_open, which says so. */
static int examine(struct session *s, bool write, struct error *err)
{
	struct session_own *own = s->own;
	int rc;

	if (model_is_target(own->target))
		return 0;
	rc = own->hold ? !hold_is_image(own->hold)
		       : hold_image(&own->hold, own->target, write, err);
	if (rc < 0)
		return -1;
	return rc ? examine_device(s, write, err) : examine_image(s, write, err);
}

/* Between examining and opening, another device may have taken the name, or somebody may have begun to use this one. */
static int examine_again(struct session *s, bool write, struct error *err)
{
	const struct medium_traits *t = s->traits;
	const struct blockdev *d = &s->own->device;

	if (!s->own->is_device) {
		if (t->kind == MEDIUM_BLOCK_DEVICE || !s->own->hold)
			return error_set(err, ERROR_REFUSED,
				"'%s' changed while it was being opened; try again", t->path);
		return t->kind == MEDIUM_IMAGE ? judge_image(s, write, err) : 0;
	}
	if (!medium_traits_fit_device(t, d))
		return error_set(err, ERROR_REFUSED,
			"'%s' is no longer the device it was a moment ago; look at 'blkassay "
			"targets' again",
			t->path);
	return judge_device(s, write, err);
}

static int open_medium(struct session *s, bool write, struct error *err)
{
	struct kept_identity *id = &s->own->identity;

	s->own->writes = write;
	if (examine(s, write, err) < 0 ||
		medium_open_held(&s->medium, s->own->hold, s->own->target,
			write ? MEDIUM_READ_WRITE : MEDIUM_READ_ONLY, err) < 0)
		return -1;
	s->traits = medium_traits(s->medium);
	if (s->traits->virtual_clock)
		guard_token_of_name(s->token, s->traits->name);
	else if (examine_again(s, write, err) < 0)
		return -1;
	text_copy(id->token, sizeof id->token, s->token);
	id->size_bytes = s->traits->size_bytes;
	id->logical_block_bytes = s->traits->logical_block_bytes;
	return 0;
}

/* ---- consent ---- */

static const char *describe(const struct session *s, char *out, size_t room)
{
	const struct medium_traits *t = s->traits;
	char size[SIZE_TEXT_MAX];
	bool named = *t->vendor || *t->model;

	snprintf(out, room, "'%s' (%s%s%s%s%s%s%s)", t->path, t->vendor,
		*t->vendor && *t->model ? " " : "", t->model, named ? ", " : "",
		*t->serial ? "serial " : "", t->serial, *t->serial ? ", " : "");
	if (out[strlen(out) - 1] == ')')
		out[strlen(out) - 1] = 0;
	size_format_decimal(size, (double)t->size_bytes);
	snprintf(out + strlen(out), room - strlen(out), "%s)", size);
	return out;
}

static int check_token(const struct session *s, const char *token, struct error *err)
{
	char text[800];

	if (!strcmp(token, s->token))
		return 0;
	return error_set(err, ERROR_REFUSED,
		"--erase '%s' does not name %s; 'blkassay targets' shows the token of each device, "
		"and a run without --erase that of an image file",
		token, describe(s, text, sizeof text));
}

static int check_consent(struct session *s, const struct options *o, struct error *err)
{
	bool keep = o->given[OPTION_KEEP_DATA];
	char text[800];

	if (o->given[OPTION_ERASE] && check_token(s, o->text[OPTION_ERASE], err) < 0)
		return -1;
	if (keep && s->traits->virtual_clock)
		return error_set(err, ERROR_USAGE,
			"--keep-data: '%s' is a model, which holds nothing to keep; leave that out",
			s->traits->path);
	if (s->traits->read_only)
		return error_set(err, ERROR_REFUSED,
			"'%s' is read-only; look for a write-protect switch or setting",
			s->traits->path);
	s->kept = keep;
	s->may_write = o->given[OPTION_ERASE] || s->own->created || s->traits->virtual_clock;
	if (s->may_write || keep)
		return 0;
	return error_set(err, ERROR_REFUSED,
		"writing to %s needs consent: --erase TOKEN (%s) gives up its data, --keep-data "
		"saves it first and puts it back",
		describe(s, text, sizeof text),
		s->own->is_device ? "'blkassay targets' shows it" : s->token);
}

static int begin(struct session *s, const char *target, struct error *err)
{
	*s = (struct session){ 0 };
	s->own = calloc(1, sizeof *s->own);
	if (!s->own)
		return error_set(err, ERROR_IO, "out of memory");
	if (strlen(target) >= sizeof s->own->target)
		return error_set(err, ERROR_USAGE,
			"the target's path is longer than this tool takes (511 bytes)");
	text_copy(s->own->target, sizeof s->own->target, target);
	return 0;
}

static int create(struct session *s, const struct options *o, struct error *err)
{
	if (!o->given[OPTION_CREATE])
		return 0;
	/* An image that no run can use would only be in the way of the next try. */
	if (out_path_check_new(options_text(o, OPTION_OUT, NULL), err) < 0)
		return -1;
	if (image_create(&s->own->hold, o->args[0], o->number[OPTION_CREATE], err) < 0)
		return -1;
	s->own->created = true;
	return 0;
}

/* Whose data an earlier run took away is told before anything is done with it. */
static void look_for_kept(struct session *s, const struct options *o)
{
	if (!s->traits->virtual_clock && !s->own->created)
		kept_search_tell(s->medium, &s->own->identity, s->own->target,
			options_text(o, OPTION_OUT, NULL));
}

int session_open(
	struct session *s, const struct options *o, enum session_need need, struct error *err)
{
	bool write = need == SESSION_WRITES;

	if (begin(s, o->args[0], err) == 0 && check_options(o, need, err) == 0 &&
		create(s, o, err) == 0) {
		s->own->fixed_allowed = o->given[OPTION_FIXED_DISK];
		if (open_medium(s, write, err) == 0 &&
			region_parse(&s->region_start, &s->region_bytes,
				options_text(o, OPTION_REGION, NULL), s->traits->size_bytes,
				s->traits->offset_align_bytes, err) == 0 &&
			(!write || check_consent(s, o, err) == 0)) {
			look_for_kept(s, o);
			if (o->given[OPTION_ERASE] && !s->traits->virtual_clock)
				contents_tell(s->medium, s->region_start, s->region_bytes);
			return 0;
		}
	}
	session_abandon(s);
	return -1;
}

/* From here on no other medium may take its place. */
static int hold(struct session *s, struct error *err)
{
	return medium_hold(s->medium) < 0 ? error_set(err, ERROR_IO, "out of memory") : 0;
}

/* ---- restore ---- */

bool session_is_named(const struct session *s, const struct kept_identity *id)
{
	const struct kept_identity *here = &s->own->identity;

	return !strcmp(id->token, here->token) && !strcmp(id->place, here->place);
}

/* Names change with readers, folders and ports, so they are no reason to refuse: the size, the block and then the content
 * decide. */
static int check_identity(
	const struct session *s, const struct kept_identity *id, struct error *err)
{
	const struct kept_identity *here = &s->own->identity;
	char text[800];

	describe(s, text, sizeof text);
	if (id->size_bytes != here->size_bytes)
		return error_set(err, ERROR_REFUSED,
			"wrong target: the data was saved from one of %llu bytes, but %s has %llu",
			(unsigned long long)id->size_bytes, text,
			(unsigned long long)here->size_bytes);
	if (id->logical_block_bytes != here->logical_block_bytes)
		return error_set(err, ERROR_REFUSED,
			"wrong target: the data was saved from one with blocks of %u bytes, but %s "
			"has blocks of %u",
			id->logical_block_bytes, text, here->logical_block_bytes);
	return 0;
}

static int check_overwrite(const struct session *s, const char *token, struct error *err)
{
	char text[800];

	if (!token || !strcmp(token, s->token))
		return 0;
	return error_set(err, ERROR_REFUSED,
		"--overwrite-changed '%s' does not name %s, whose token is '%s'", token,
		describe(s, text, sizeof text), s->token);
}

int session_open_restore(struct session *s, const char *target, const struct kept_identity *id,
	const char *overwrite_changed, struct error *err)
{
	if (begin(s, target, err) == 0) {
		s->own->restores = id;
		if (model_is_target(target))
			error_set(err, ERROR_USAGE,
				"'%s' is a model; there is nothing to restore on it", target);
		else if (open_medium(s, true, err) == 0 && check_identity(s, id, err) == 0 &&
			 check_overwrite(s, overwrite_changed, err) == 0 && hold(s, err) == 0) {
			s->own->began = true;
			return 0;
		}
	}
	session_abandon(s);
	return -1;
}

/* ---- before the first write ---- */

/* What will be written to: one stretch, or several places. */
struct writes {
	uint64_t start, bytes; /* first byte; how many in all */
	const struct session_places *places; /* NULL: one stretch */
	double bytes_to_write;
};

static void announce_loss(const struct session *s, const struct writes *w)
{
	char text[800], size[SIZE_TEXT_MAX], where[64];

	if (s->traits->virtual_clock || s->own->created)
		return;
	message_note("%s:", describe(s, text, sizeof text));
	if (w->places)
		snprintf(where, sizeof where, "at %zu place%s", w->places->count,
			text_plural(w->places->count));
	else
		snprintf(where, sizeof where, "from byte %llu", (unsigned long long)w->start);
	if (s->kept)
		message_note("  %s %s will be used for the test. What is there is saved first, in "
			     "'%s', and put back at the end. It is read twice, which takes twice "
			     "the time of reading it, before anything is written.",
			size_format(size, w->bytes), where, s->kept_path);
	else
		message_note("  %s %s will be overwritten; what is there will be lost.",
			size_format(size, w->bytes), where);
}

static void announce_wear(const struct session *s, const struct writes *w)
{
	double all = w->bytes_to_write + (s->kept ? (double)w->bytes : 0);
	double times = all / (double)w->bytes;
	char size[SIZE_TEXT_MAX], over[32];

	if (!s->own->is_device || w->bytes_to_write <= 0)
		return;
	snprintf(over, sizeof over, times < 10 ? "%.2g times" : "%.0f times", times);
	message_note("  About %s will be written, the %s %s over.\n  Every write wears flash; the "
		     "maker's data sheet says how much it can take.",
		size_format_decimal(size, all), w->places ? "places" : "region",
		strcmp(over, "1 times") ? over : "once");
}

static int check_output(const struct session *s, const char *path, struct error *err)
{
	return out_path_check_target(path,
		&(struct out_path_target){ .name = s->own->target,
			.device = s->own->is_device ? &s->own->device : NULL,
			.file = s->own->hold },
		err);
}

static int save(struct session *s, const struct kept_identity *id, struct record_writer *record,
	const struct watch *watch, struct error *err)
{
	struct session_keep *keep = &s->own->keep;

	if (out_path_check_kept(s->kept_path, record->path, kept_file_bytes(id), err) < 0 ||
		check_output(s, s->kept_path, err) < 0)
		return -1;
	text_copy(keep->path, sizeof keep->path, s->kept_path);
	keep->target = s->own->target;
	return session_keep_save(keep, id, s->medium, record, watch, err);
}

static int save_writes(struct session *s, const struct writes *w, struct record_writer *record,
	const struct watch *watch, struct error *err)
{
	size_t count = w->places ? w->places->count : 0;
	struct kept_identity id = s->own->identity;
	struct kept_extent *extents;
	int rc;

	id.start = w->start;
	id.bytes = w->bytes;
	text_copy(id.run, sizeof id.run, s->run.id);
	text_copy(id.kind, sizeof id.kind, s->run.kind);
	id.seed = s->run.seed;
	if (count < 2)
		return save(s, &id, record, watch, err);
	extents = calloc(count, sizeof *extents);
	if (!extents)
		return error_set(err, ERROR_IO, "out of memory");
	for (size_t i = 0; i < count; i++)
		extents[i] = (struct kept_extent){ w->places->offsets[i], w->places->length };
	id.extents = extents;
	id.extent_count = count;
	rc = save(s, &id, record, watch, err);
	free(extents);
	return rc;
}

static int check_inside(const struct session *s, uint64_t start, uint64_t bytes, struct error *err)
{
	if (start >= s->region_start && bytes <= s->region_bytes &&
		start - s->region_start <= s->region_bytes - bytes)
		return 0;
	return error_set(err, ERROR_REFUSED,
		"%llu bytes from byte %llu on are outside the region that may be touched",
		(unsigned long long)bytes, (unsigned long long)start);
}

static int keep(struct session *s, const struct writes *w, struct record_writer *record,
	const struct watch *watch, struct error *err)
{
	if (!s->kept || save_writes(s, w, record, watch, err) == 0)
		return 0;
	if (err->kind == ERROR_IO)
		(void)medium_check(s->medium, MEDIUM_CHECK_FAILED);
	medium_explain(s->medium, err);
	error_add(err, "; nothing was written to '%s'", s->own->target);
	return -1;
}

static int prepare(struct session *s, const struct writes *w, struct record_writer *record,
	const struct watch *watch, struct error *err)
{
	if (!s->kept && !s->may_write)
		return error_set(
			err, ERROR_REFUSED, "'%s' was opened for reading only", s->own->target);
	if (s->kept && out_path_kept(s->kept_path, sizeof s->kept_path, record->path, err) < 0)
		return -1;
	if (hold(s, err) < 0)
		return -1;
	announce_loss(s, w);
	announce_wear(s, w);
	if (s->own->is_device)
		device_openers_warn(&s->own->device);
	if (keep(s, w, record, watch, err) < 0)
		return -1;
	s->own->began = true;
	s->may_write = true;
	return 0;
}

int session_prepare_writes(struct session *s, struct record_writer *record, uint64_t start,
	uint64_t bytes, double bytes_to_write, const struct watch *watch, struct error *err)
{
	struct writes w = { start, bytes, NULL, bytes_to_write };

	if (check_inside(s, start, bytes, err) < 0)
		return -1;
	return prepare(s, &w, record, watch, err);
}

int session_prepare_places(struct session *s, struct record_writer *record,
	const struct session_places *places, double bytes_to_write, const struct watch *watch,
	struct error *err)
{
	struct writes w = { places->offsets[0], places->count * places->length, places,
		bytes_to_write };

	for (size_t i = 0; i < places->count; i++)
		if (check_inside(s, places->offsets[i], places->length, err) < 0)
			return -1;
	return prepare(s, &w, record, watch, err);
}

int session_reopen(struct session *s, struct error *err)
{
	struct medium_traits before = *s->traits;
	struct telltales *told;
	char token[sizeof s->token];

	text_copy(token, sizeof token, s->token);
	told = medium_take_telltales(s->medium);
	medium_close(s->medium);
	s->medium = NULL;
	s->traits = NULL;
	if (open_medium(s, s->own->writes, err) == 0) {
		medium_give_telltales(s->medium, told);
		told = NULL;
		/* Whatever its path is by now. */
		if (s->own->hold && hold_is_where_it_was(s->own->hold))
			text_copy(s->token, sizeof s->token, token);
		if (!strcmp(token, s->token) && s->traits->size_bytes == before.size_bytes &&
			s->traits->disk_sequence == before.disk_sequence &&
			medium_check(s->medium, MEDIUM_CHECK_BATCH) == 0)
			return 0;
		error_set(err, ERROR_IO, "'%s' is not the target it was before it was opened again",
			s->own->target);
		medium_explain(s->medium, err);
	}
	telltales_free(told);
	/* Refused or not: the run has begun, and cannot go on. */
	err->kind = ERROR_IO;
	medium_close(s->medium);
	s->medium = NULL;
	s->traits = NULL;
	return -1;
}

bool session_fits(const struct session *s, const char *token)
{
	bool loop = s->own->is_device && !strcmp(s->own->device.transport, "loop");

	if (!strcmp(s->token, token))
		return true;
	return (loop || s->traits->kind == MEDIUM_IMAGE) &&
	       guard_token_has_same_name(s->token, token, loop);
}

int session_check_output(const struct session *s, const char *path, struct error *err)
{
	return strcmp(path, "-") ? check_output(s, path, err) : 0;
}

/* ---- the end ---- */

int session_put_back(struct session *s, struct record_writer *record, struct error *err)
{
	return s->own ? session_keep_put_back(&s->own->keep, s->medium, record, err) : 0;
}

/* What is to be said at the end of a run that wrote: that the target was lost, or that its name, by which whoever reads
 * the result will look for it, means another file by now. 0, or -1 with *err. */
static int check_end(const struct session *s, struct error *err)
{
	const struct session_own *own = s->own;

	if (!s->medium || !own->began)
		return 0;
	if (!medium_lost(s->medium) && medium_check(s->medium, MEDIUM_CHECK_BATCH) < 0)
		return medium_explain(s->medium, err);
	return own->hold ? hold_check_name(own->hold, err) : 0;
}

/* Once, whoever asks first: put back, then looked whether all is as it was. */
static int end_writing(struct session *s, struct record_writer *record, struct error *err)
{
	struct error late = { 0 };
	int rc;

	if (!s->own || s->own->ended)
		return 0;
	s->own->ended = true;
	rc = session_put_back(s, record, err);
	if (check_end(s, rc < 0 ? &late : err) == 0)
		return rc;
	if (rc < 0)
		message_warning("%s", late.text);
	return -1;
}

int session_ended(struct session *s, struct record_writer *record, int status, struct error *err)
{
	struct error why = { 0 };

	if (s->own)
		s->own->keep.doubted = status == 1 && s->medium &&
				       medium_traits(s->medium)->kind == MEDIUM_BLOCK_DEVICE;
	if (end_writing(s, record, &why) == 0)
		return status;
	if (err->kind == ERROR_NONE) {
		*err = why;
	} else {
		message_error(err); /* first things first: message_error tells no sentence twice */
		message_error(&why);
	}
	return status == 0 || status == 1 || status == 4 ? error_exit_status(&why) : status;
}

static void warn_of_name(const struct session *s)
{
	struct error moved;

	if (s->medium && !s->own->began && s->own->hold &&
		hold_check_name(s->own->hold, &moved) < 0)
		message_warning("%s", moved.text);
}

static void release(struct session *s)
{
	medium_close(s->medium);
	if (s->own)
		hold_release(s->own->hold);
	free(s->own);
	*s = (struct session){ 0 };
}

int session_close(struct session *s, struct error *err)
{
	struct error unheard = { 0 };
	int rc = end_writing(s, NULL, err ? err : &unheard);

	if (rc < 0 && !err)
		message_error(&unheard); /* nobody else would say where the data is */
	warn_of_name(s);
	release(s);
	return rc;
}

int session_leave_kept(
	struct session *s, struct record_writer *record, struct text *command, struct error *err)
{
	return session_keep_leave(&s->own->keep, record, command, err);
}

/* The image that --create made. */
static void take_back(const struct session *s)
{
	int rc = hold_unlink(s->own->hold);

	if (rc > 0)
		message_warning(
			"'%s' is no longer the image that --create made, so it is left as it is",
			s->own->target);
	else if (rc < 0)
		message_warning("cannot remove '%s' again: %s", s->own->target, strerror(-rc));
}

void session_abandon(struct session *s)
{
	if (s->own && s->own->began) {
		session_close(s, NULL);
		return;
	}
	if (s->own && s->own->created)
		take_back(s);
	release(s);
}

/* ---- for the record ---- */

int session_record_path(char *out, size_t room, const struct session *s, const struct options *o,
	const char *kind, struct error *err)
{
	if (out_path_record(out, room, options_text(o, OPTION_OUT, NULL), kind, err) < 0)
		return -1;
	return check_output(s, out, err);
}
