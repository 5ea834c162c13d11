/* A few blocks that this run wrote and flushed last. */
#include "medium/telltale.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "medium/medium.h"

/* WAITING were acknowledged and not flushed yet; STORED were flushed. A device that loses what it flushed last should still
 * be known by what it flushed before: each place behind the LATEST is given away half as often as the one before it. */
enum { KEPT_BYTES = 512, WAITING = 8, LATEST = 8, STORED = LATEST + 16, MARKS = 4 };

struct telltale {
	bool used, covered, flushed; /* covered: noted before the flush in hand began */
	uint64_t at;
	unsigned char bytes[KEPT_BYTES];
};

struct telltales {
	pthread_mutex_t lock;
	struct telltale waiting[WAITING], stored[STORED], marks[MARKS];
	unsigned next_waiting, next_latest, next_mark;
	bool marking;
	uint64_t flushed;
};

struct telltales *telltales_new(void)
{
	struct telltales *t = calloc(1, sizeof *t);

	if (t)
		pthread_mutex_init(&t->lock, NULL);
	return t;
}

void telltales_free(struct telltales *t)
{
	if (t)
		pthread_mutex_destroy(&t->lock);
	free(t);
}

static void forget_between(struct telltale *list, size_t count, uint64_t from, uint64_t to)
{
	for (size_t i = 0; i < count; i++)
		if (list[i].at < to && list[i].at + KEPT_BYTES > from)
			list[i].used = false;
}

static bool is_uniform(const unsigned char *bytes)
{
	return !memcmp(bytes, bytes + 1, KEPT_BYTES - 1);
}

void telltales_note(struct telltales *t, uint64_t at, const void *bytes, size_t length)
{
	pthread_mutex_lock(&t->lock);
	forget_between(t->waiting, WAITING, at, at + length);
	forget_between(t->stored, STORED, at, at + length);
	forget_between(t->marks, MARKS, at, at + length);
	if (length >= KEPT_BYTES && !is_uniform(bytes)) {
		struct telltale *one = t->marking ? &t->marks[t->next_mark++ % MARKS]
						  : &t->waiting[t->next_waiting++ % WAITING];

		one->used = true;
		one->covered = one->flushed = false;
		one->at = at;
		memcpy(one->bytes, bytes, KEPT_BYTES);
	}
	pthread_mutex_unlock(&t->lock);
}

void telltales_mark(struct telltales *t, bool on)
{
	pthread_mutex_lock(&t->lock);
	if (on)
		memset(t->marks, 0, sizeof t->marks);
	t->marking = on;
	pthread_mutex_unlock(&t->lock);
}

void telltales_flush_begins(struct telltales *t)
{
	pthread_mutex_lock(&t->lock);
	for (size_t i = 0; i < WAITING; i++)
		t->waiting[i].covered = t->waiting[i].used;
	for (size_t i = 0; i < MARKS; i++)
		t->marks[i].covered = t->marks[i].used;
	pthread_mutex_unlock(&t->lock);
}

static void store(struct telltales *t, struct telltale *one)
{
	unsigned at = LATEST;

	/* Ages that double: how often 2 divides the number of this one. */
	for (uint64_t n = ++t->flushed; n % 2 == 0 && at < STORED - 1; n /= 2)
		at++;
	one->flushed = true;
	t->stored[at] = *one;
	t->stored[t->next_latest++ % LATEST] = *one;
}

void telltales_flushed(struct telltales *t)
{
	pthread_mutex_lock(&t->lock);
	for (size_t i = 0; i < WAITING; i++) {
		struct telltale *one = &t->waiting[(t->next_waiting + i) % WAITING];

		if (!one->used || !one->covered)
			continue;
		store(t, one);
		one->used = false;
	}
	for (size_t i = 0; i < MARKS; i++)
		t->marks[i].flushed |= t->marks[i].covered;
	pthread_mutex_unlock(&t->lock);
}

static bool is_there(const struct telltale *one, struct medium *m, unsigned char *buf)
{
	size_t block = m->traits.offset_align_bytes, got = 0;

	return m->ops->read(m, one->at - one->at % block, buf, block, &got) == 0 && got == block &&
	       !memcmp(buf + one->at % block, one->bytes, KEPT_BYTES);
}

/* Is one of these there? MISSING when at least one should be and none is. */
static enum telltale_answer look_at(const struct telltale *list, size_t count, struct medium *m,
	unsigned char *buf, bool flushed)
{
	enum telltale_answer answer = TELLTALE_NONE;

	for (size_t i = 0; i < count && answer != TELLTALE_FOUND; i++)
		if (list[i].used && list[i].flushed == flushed)
			answer = is_there(&list[i], m, buf) ? TELLTALE_FOUND : TELLTALE_MISSING;
	return answer;
}

static enum telltale_answer look(struct telltales *t, struct medium *m, unsigned char *buf)
{
	enum telltale_answer answer = look_at(t->marks, MARKS, m, buf, true);

	if (answer != TELLTALE_NONE)
		return answer;
	answer = look_at(t->stored, STORED, m, buf, true);
	/* What was only acknowledged need not be there; but if it is, it tells as well. */
	if (answer != TELLTALE_FOUND &&
		look_at(t->waiting, WAITING, m, buf, false) == TELLTALE_FOUND)
		answer = TELLTALE_FOUND;
	return answer;
}

enum telltale_answer telltales_look(struct telltales *t, struct medium *m)
{
	unsigned char *buf = buffer_new(m->traits.offset_align_bytes, m->traits.memory_align_bytes);
	enum telltale_answer answer = TELLTALE_MISSING; /* without memory nothing can be shown */

	if (buf) {
		pthread_mutex_lock(&t->lock);
		answer = look(t, m, buf);
		pthread_mutex_unlock(&t->lock);
	}
	free(buf);
	return answer;
}
