/* Is a vital product data page what was asked for? Hosts take serial numbers, identities and limits from such pages (SPC-4
 * 7.8), and some firmware never looks which one is asked for. Asked last, and only of a drive that would be known again, as
 * some hang on it. */
#include <stdio.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/text.h"

/* A page is asked for in 255 bytes, as hosts did before long pages came; lists longer than MOST are not asked through. */
enum { ROOM = 255, HEADER = 4, STANDARD = 36, MOST = 32, PATIENCE_MS = 10000, TRIES = 2 };

enum answer {
	REFUSED, /* ILLEGAL REQUEST: there is no such page */
	AS_ITSELF,
	LISTED_REFUSED, /* page 00h lists it */
	IS_STANDARD, /* the standard INQUIRY data */
	IS_ANOTHER, /* another page's code in byte 1 */
	TOO_SHORT, /* for a header, or for what the header tells of */
	OTHER_ERROR,
	LOST_ONCE, /* no answer came, but when it was asked again; or no other command was answered either */
	LOST_TWICE,
	ANSWERS,
};

static const char *const answer_words[ANSWERS] = {
	[REFUSED] = "refused",
	[AS_ITSELF] = "answered as what they are",
	[LISTED_REFUSED] = "in the list of page 00h, and refused",
	[IS_STANDARD] = "answered with the standard INQUIRY data",
	[IS_ANOTHER] = "answered as another page",
	[TOO_SHORT] = "answered with fewer bytes than they tell of",
	[OTHER_ERROR] = "neither answered nor refused",
	[LOST_ONCE] = "not answered, which may be the cable's doing",
	[LOST_TWICE] = "asked for twice and not answered, while other commands were",
};

struct pages {
	uint8_t standard[STANDARD]; /* standard INQUIRY data, zeros behind what came */
	size_t standard_bytes;
	uint8_t asked[MOST];
	enum answer answer[MOST];
	size_t count;
	uint8_t listed[ROOM]; /* by page 00h, where that is itself */
	size_t listed_count;
	struct scsi_sense refusal, other; /* the last of each */
	unsigned lost; /* page questions in a row that came to nothing */
};

static bool is_listed(const struct pages *p, uint8_t page)
{
	return memchr(p->listed, page, p->listed_count) != NULL;
}

/* Byte 1 does not tell: RMB in it is the code of page 80h, and 0 that of page 00h. */
static bool is_standard(const struct pages *p, const uint8_t *bytes, size_t n)
{
	size_t same = n < p->standard_bytes ? n : p->standard_bytes;

	return same > HEADER && !memcmp(bytes, p->standard, same);
}

static enum answer judge_page(const struct pages *p, uint8_t page, const uint8_t *bytes, size_t n)
{
	if (is_standard(p, bytes, n))
		return IS_STANDARD;
	if (n < HEADER)
		return TOO_SHORT;
	if (bytes[1] != page)
		return IS_ANOTHER;
	return n < ROOM && HEADER + (size_t)scsi_get_u16(bytes + 2) > n ? TOO_SHORT : AS_ITSELF;
}

static enum answer judge_error(struct pages *p, uint8_t page, const struct scsi_sense *s)
{
	if (!s->valid || s->key != SENSE_ILLEGAL_REQUEST) {
		p->other = *s;
		return OTHER_ERROR;
	}
	p->refusal = *s;
	return is_listed(p, page) ? LISTED_REFUSED : REFUSED;
}

/* 0, with *out LOST_ONCE where nothing came; a negative errno where the drive is gone. */
static int ask(struct probe_context *pc, struct pages *p, uint8_t page, enum answer *out)
{
	struct scsi_exchange x;
	int rc;

	memset(pc->buf, 0, ROOM);
	scsi_build_inquiry_page(&x, page, pc->buf, ROOM);
	x.timeout_ms = PATIENCE_MS;
	rc = context_exchange(pc, &x);
	if (rc < 0)
		return rc;
	*out = pc->host_failed ? LOST_ONCE
	       : rc            ? judge_error(p, page, &pc->last_sense)
			       : judge_page(p, page, pc->buf, scsi_transferred(&x));
	return 0;
}

/* What came to nothing is asked once more of a drive that answers other commands: that may have been the cable. */
static int ask_again(struct probe_context *pc, struct pages *p, uint8_t page, enum answer *out)
{
	int rc = 0;

	for (p->lost = 0; p->lost < TRIES && rc >= 0; p->lost++) {
		enum answer now;

		rc = p->lost ? context_test_unit_ready(pc) : 0;
		if (rc >= 0)
			rc = ask(pc, p, page, &now);
		if (rc >= 0 && now != LOST_ONCE) {
			*out = p->lost ? LOST_ONCE : now;
			return 0;
		}
	}
	if (rc >= 0)
		rc = context_test_unit_ready(pc);
	*out = pc->host_failed ? LOST_ONCE : LOST_TWICE;
	return rc;
}

static void take_list(struct probe_context *pc, struct pages *p)
{
	size_t n = scsi_get_u16(pc->buf + 2);

	p->listed_count = n < ROOM - HEADER ? n : ROOM - HEADER;
	memcpy(p->listed, pc->buf + HEADER, p->listed_count);
}

static int take_page(struct probe_context *pc, struct pages *p, uint8_t page)
{
	enum answer *answer = &p->answer[p->count];
	int rc;

	if (p->count == MOST || memchr(p->asked, page, p->count))
		return 0;
	p->asked[p->count] = page;
	rc = ask_again(pc, p, page, answer);
	p->count++;
	if (!rc && !page && *answer == AS_ITSELF)
		take_list(pc, p);
	return rc;
}

/* Those that hosts ask for, and those that it lists. None after one that hangs it. */
static int ask_all(struct probe_context *pc, struct pages *p)
{
	static const uint8_t common[] = { SCSI_PAGE_SUPPORTED, SCSI_PAGE_SERIAL,
		SCSI_PAGE_DEVICE_ID, SCSI_PAGE_BLOCK_LIMITS };
	int rc = 0;

	for (size_t i = 0; i < sizeof common && rc >= 0 && !p->lost && !context_stopped(pc); i++)
		rc = take_page(pc, p, common[i]);
	for (size_t i = 0; i < p->listed_count && rc >= 0 && !p->lost && !context_stopped(pc); i++)
		rc = take_page(pc, p, p->listed[i]);
	return rc < 0 ? rc : 0;
}

static int ask_standard(struct probe_context *pc, struct pages *p)
{
	struct scsi_exchange x;
	int rc;

	memset(pc->buf, 0, STANDARD);
	scsi_build_inquiry(&x, pc->buf, STANDARD);
	rc = context_exchange(pc, &x);
	if (rc)
		return rc < 0 ? rc : 0;
	p->standard_bytes = scsi_transferred(&x);
	memcpy(p->standard, pc->buf, p->standard_bytes);
	return 0;
}

static size_t tally(const struct pages *p, enum answer which)
{
	size_t n = 0;

	for (size_t i = 0; i < p->count; i++)
		n += p->answer[i] == which;
	return n;
}

static enum promise_verdict judge(const struct pages *p)
{
	if (tally(p, IS_STANDARD) || tally(p, IS_ANOTHER) || tally(p, TOO_SHORT) ||
		tally(p, LISTED_REFUSED) || tally(p, LOST_TWICE))
		return PROMISE_BROKEN;
	return tally(p, OTHER_ERROR) || tally(p, LOST_ONCE) ? PROMISE_NOT_SHOWN : PROMISE_KEPT;
}

static const struct scsi_sense *sense_of(const struct pages *p, enum answer which)
{
	static const struct scsi_sense none;

	return which == REFUSED || which == LISTED_REFUSED ? &p->refusal
	       : which == OTHER_ERROR                      ? &p->other
							   : &none;
}

/* "00h, 83h refused (illegal request, 24/00 ...)" */
static size_t add_group(char *out, size_t n, size_t room, const struct pages *p, enum answer which)
{
	const struct scsi_sense *s = sense_of(p, which);
	const char *mark = n ? "; " : "";
	char why[SCSI_SENSE_TEXT_MAX];

	if (!tally(p, which))
		return n;
	for (size_t i = 0; i < p->count && n < room; i++)
		if (p->answer[i] == which) {
			n += (size_t)snprintf(out + n, room - n, "%s%02Xh", mark, p->asked[i]);
			mark = ", ";
		}
	if (n < room)
		n += (size_t)snprintf(out + n, room - n, " %s%s%s%s", answer_words[which],
			s->valid ? " (" : "", s->valid ? scsi_sense_format(why, s) : "",
			s->valid ? ")" : "");
	return n < room ? n : room;
}

/* What it does to a host; "" where nothing is to be said. */
static const char *harm(const struct pages *p)
{
	if (tally(p, IS_STANDARD) || tally(p, IS_ANOTHER))
		return ". A host that asks reads something else for a serial number, an identity "
		       "or limits of requests, alike in all such gadgets, and may take one for "
		       "another";
	if (tally(p, LOST_TWICE))
		return ". Some hosts ask for them whenever a drive is plugged in, and reset it "
		       "when nothing comes";
	if (tally(p, TOO_SHORT))
		return ". A host that goes by the header reads what was in its memory before";
	return tally(p, REFUSED) == p->count
		       ? ". SPC-4 has pages 00h and 83h mandatory; without them a host knows "
			 "the gadget by its USB serial number, which does no harm"
		       : "";
}

static int report(struct probe_context *pc, const struct pages *p)
{
	static const char mend[] =
		"on INQUIRY with EVPD set send the page of byte 2, its code in byte 1 and its "
		"length in bytes 2 and 3, or answer CHECK CONDITION 05/24/00; list in page 00h "
		"what is answered";
	char groups[640] = "";
	size_t n = 0;

	for (int a = ANSWERS - 1; a >= 0; a--)
		n = add_group(groups, n, sizeof groups, p, (enum answer)a);
	return context_report(pc, PROMISE_ID_VITAL_PAGES, judge(p), p->count, mend, "page%s %s%s",
		text_plural(p->count), groups, harm(p));
}

static int report_gone(struct probe_context *pc, const struct pages *p)
{
	return context_report(pc, PROMISE_ID_VITAL_PAGES, PROMISE_NOT_SHOWN, p->count, "",
		"after INQUIRY for page %02Xh no answer came, and none to anything since: if "
		"nobody "
		"unplugged it, it hangs there, and such a page had better be refused with 05/24/00",
		p->count ? p->asked[p->count - 1] : 0);
}

static int report_not(struct probe_context *pc, enum promise_verdict v, const char *why)
{
	return context_report(pc, PROMISE_ID_VITAL_PAGES, v, 0, "", "%s", why);
}

/* A drive that hangs is reset, and may as well be another one then. */
static int be_known_again(struct probe_context *pc)
{
	int rc = context_leave_marks(pc);

	/* What was flushed proves something from the next batch on. */
	if (!rc)
		rc = medium_check(pc->m, MEDIUM_CHECK_BATCH);
	return rc ? rc : medium_is_known(pc->m) ? 0 : PROBE_REFUSED;
}

static int ask_and_report(struct probe_context *pc)
{
	struct pages p = { 0 };
	int rc = ask_standard(pc, &p), told;

	if (rc < 0)
		return rc;
	medium_expect_change(pc->m);
	rc = ask_all(pc, &p);
	if (rc < 0) {
		told = report_gone(pc, &p);
		return told < 0 ? told : rc;
	}
	rc = medium_confirm(pc->m);
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (p.lost)
		context_pass_over_errors(pc); /* the resets are its own doing */
	return report(pc, &p);
}

int probe_vital_pages(struct probe_context *pc)
{
	int rc;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_VITAL_PAGES);
	if (pc->plan->data_waits && !(pc->plan->only & PROMISE_BIT(PROMISE_ID_VITAL_PAGES)))
		return report_not(pc, PROMISE_NOT_ASKED,
			"not asked about: some drives hang on such a question, and kept data has "
			"to go back; --only vital-pages asks it");
	if (medium_has_left(pc->m))
		return context_report_no_medium(pc, PROMISE_ID_VITAL_PAGES);
	rc = be_known_again(pc);
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (rc)
		return report_not(pc, PROMISE_NOT_SHOWN,
			"not asked: some drives hang on such a question, and what was written to "
			"know this one by after a reset cannot be read back");
	return ask_and_report(pc);
}
