/* A few blocks that this run wrote and flushed last. */
#include "medium/telltale.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "medium/medium.h"

/* The newest few, the first few, and others at ages that double: a device that loses, or never stores, what came last
 * should still be known by what came before. */
enum {
	KEPT_BYTES = 512,
	LATEST = 8,
	FIRST = 4,
	AGES = 16,
	PLACES = LATEST + FIRST + AGES,
	MARKS = 4
};

struct telltale {
	bool used, covered, flushed, vouched; /* covered: noted before the flush in hand began */
	uint64_t at;
	unsigned char bytes[KEPT_BYTES];
};

struct ages {
	struct telltale list[PLACES];
	uint64_t count; /* that ever came in */
};

struct telltales {
	pthread_mutex_t lock;
	struct ages waiting, stored; /* acknowledged only; flushed */
	struct telltale marks[MARKS];
	unsigned next_mark;
	bool marking;
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

/* Where one goes that is no longer among the newest: among the first while there is room, else where its number says: the
 * k-th of the ages is given away at every 2^k-th. */
static struct telltale *old_place(struct ages *a, uint64_t n)
{
	size_t age = 0;

	for (size_t i = LATEST; i < LATEST + FIRST; i++)
		if (!a->list[i].used)
			return &a->list[i];
	while (n && n % 2 == 0 && age < AGES - 1) {
		n /= 2;
		age++;
	}
	return &a->list[LATEST + FIRST + age];
}

static struct telltale *next_place(struct ages *a)
{
	uint64_t n = a->count++;
	struct telltale *place = &a->list[n % LATEST];

	if (place->used)
		*old_place(a, n / LATEST) = *place;
	return place;
}

static void fill(struct telltale *one, uint64_t at, const void *bytes)
{
	one->used = true;
	one->covered = one->flushed = one->vouched = false;
	one->at = at;
	memcpy(one->bytes, bytes, KEPT_BYTES);
}

static void note_one(struct telltales *t, uint64_t at, const void *bytes, size_t length)
{
	if (length >= KEPT_BYTES && !is_uniform(bytes))
		fill(t->marking ? &t->marks[t->next_mark++ % MARKS] : next_place(&t->waiting), at,
			bytes);
}

/* Both ends of what is long: later writes begin where earlier ones did more often than they end there, and whoever leaves
 * fences leaves them at ends. */
void telltales_note(struct telltales *t, uint64_t at, const void *bytes, size_t length)
{
	pthread_mutex_lock(&t->lock);
	forget_between(t->waiting.list, PLACES, at, at + length);
	forget_between(t->stored.list, PLACES, at, at + length);
	forget_between(t->marks, MARKS, at, at + length);
	note_one(t, at, bytes, length);
	if (length >= 2 * (size_t)KEPT_BYTES && !t->marking)
		note_one(t, at + length - KEPT_BYTES,
			(const unsigned char *)bytes + length - KEPT_BYTES, KEPT_BYTES);
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
	for (size_t i = 0; i < PLACES; i++)
		t->waiting.list[i].covered = t->waiting.list[i].used;
	for (size_t i = 0; i < MARKS; i++)
		t->marks[i].covered = t->marks[i].used;
	pthread_mutex_unlock(&t->lock);
}

void telltales_flushed(struct telltales *t)
{
	pthread_mutex_lock(&t->lock);
	/* The oldest first, so that the newest end up among the newest. */
	for (size_t i = PLACES; i-- > 0;) {
		struct telltale *one = &t->waiting.list[i], *place;

		if (!one->used || !one->covered)
			continue;
		one->used = false;
		place = next_place(&t->stored);
		fill(place, one->at, one->bytes);
		place->vouched = one->vouched;
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
static enum telltale_answer look_at(
	const struct telltale *list, size_t count, struct medium *m, unsigned char *buf)
{
	enum telltale_answer answer = TELLTALE_NONE;

	for (size_t i = 0; i < count && answer != TELLTALE_FOUND; i++)
		if (list[i].used && list[i].vouched)
			answer = is_there(&list[i], m, buf) ? TELLTALE_FOUND : TELLTALE_MISSING;
	return answer;
}

static enum telltale_answer look(struct telltales *t, struct medium *m, unsigned char *buf)
{
	enum telltale_answer answer = look_at(t->marks, MARKS, m, buf), waiting;

	if (answer != TELLTALE_NONE)
		return answer;
	answer = look_at(t->stored.list, PLACES, m, buf);
	if (answer == TELLTALE_FOUND)
		return answer;
	waiting = look_at(t->waiting.list, PLACES, m, buf);
	return waiting == TELLTALE_NONE ? answer : waiting;
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

void telltales_vouch(struct telltales *t)
{
	pthread_mutex_lock(&t->lock);
	for (size_t i = 0; i < PLACES; i++)
		t->stored.list[i].vouched = t->waiting.list[i].vouched = true;
	for (size_t i = 0; i < MARKS; i++)
		t->marks[i].vouched = t->marks[i].flushed;
	pthread_mutex_unlock(&t->lock);
}
