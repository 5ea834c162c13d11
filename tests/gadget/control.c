/* The socket on which orders come in. */
#include "gadget/control.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "gadget/bus.h"
#include "gadget/clock.h"
#include "gadget/composite.h"
#include "gadget/order.h"
#include "platform/clock.h"

enum { TEXT_MAX = 512, WORDS_MAX = 8 };

struct control {
	struct bus *bus;
	struct composite *composite;
	int listening;
};

static struct control control;

/* Hands it to the working thread and waits until it is carried out. */
static int post(struct order *o)
{
	struct bus *b = control.bus;

	pthread_mutex_lock(&b->lock);
	b->order = o;
	pipes_wake(&b->pipes);
	while (!o->done)
		pthread_cond_wait(&b->changed, &b->lock);
	pthread_mutex_unlock(&b->lock);
	return o->status;
}

static int post_kind(enum order_kind kind, struct order *o)
{
	o->kind = kind;
	o->done = false;
	return post(o);
}

static int on_the_bus(struct order *o, int (*change)(struct composite *c, struct error *err))
{
	struct error err = { 0 };

	if (change(control.composite, &err) == 0)
		return 0;
	text_copy(o->answer, sizeof o->answer, err.text);
	return -1;
}

static int plug(struct order *o)
{
	return post_kind(ORDER_POWER_ON, o) < 0 ? -1 : on_the_bus(o, composite_plug);
}

static int unplug(struct order *o)
{
	return on_the_bus(o, composite_unplug);
}

static int power_off(struct order *o)
{
	return post_kind(ORDER_POWER_OFF, o) < 0 ? -1 : on_the_bus(o, composite_unplug);
}

/* "cut [MILLISECONDS]": off, and on again after that time. */
static int cut(struct order *o)
{
	uint64_t ms = 500;
	struct timespec off;

	if (o->words[0] && (number_parse_u64(o->words[0], &ms) < 0 || ms > 600000)) {
		snprintf(o->answer, sizeof o->answer, "expected: cut [MILLISECONDS]");
		return -1;
	}
	off = (struct timespec){ (time_t)(ms / 1000), (long)(ms % 1000) * 1000000 };
	if (power_off(o) < 0)
		return -1;
	nanosleep(&off, NULL);
	return plug(o);
}

struct word {
	const char *first, *second; /* second may be NULL */
	int (*run)(struct order *o); /* NULL: the working thread does it */
	enum order_kind kind;
};

static const struct word words[] = {
	{ "plug", NULL, plug, 0 },
	{ "unplug", NULL, unplug, 0 },
	{ "power", "off", power_off, 0 },
	{ "power", "on", plug, 0 },
	{ "cut", NULL, cut, 0 },
	{ "card", "out", NULL, ORDER_CARD_OUT },
	{ "card", "in", NULL, ORDER_CARD_IN },
	{ "stall", NULL, NULL, ORDER_STALL },
	{ "faults", NULL, NULL, ORDER_FAULTS },
	{ "slip", NULL, NULL, ORDER_SLIP },
	{ "interrupt", NULL, NULL, ORDER_INTERRUPT },
	{ "silence", NULL, NULL, ORDER_SILENCE },
	{ "ignore-reset", NULL, NULL, ORDER_IGNORE_RESET },
	{ "add", NULL, NULL, ORDER_ADD },
	{ "recount", NULL, NULL, ORDER_RECOUNT },
	{ "state", NULL, NULL, ORDER_STATE },
	{ "quit", NULL, NULL, ORDER_QUIT },
};

static int obey(struct order *o, char **word, size_t count)
{
	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		const struct word *w = &words[i];
		size_t used = w->second ? 2 : 1;

		if (count < used || !order_word(word[0], w->first) ||
			(w->second && !order_word(word[1], w->second)))
			continue;
		for (size_t k = used; k < count && k - used < 5; k++)
			o->words[k - used] = word[k];
		return w->run ? w->run(o) : post_kind(w->kind, o);
	}
	snprintf(o->answer, sizeof o->answer, "there is no such order");
	return -1;
}

static void answer(int fd, char *text)
{
	struct order o = { 0 };
	char *word[WORDS_MAX] = { NULL }, reply[TEXT_MAX + 16], *save = NULL;
	size_t count = 0;
	int rc;

	truth_event(&control.bus->truth, clock_ns(), text);
	for (char *w = strtok_r(text, " ", &save); w && count < WORDS_MAX;
		w = strtok_r(NULL, " ", &save))
		word[count++] = w;
	rc = obey(&o, word, count);
	snprintf(reply, sizeof reply, "%s%s%s\n", rc < 0 ? "error" : "ok", *o.answer ? " " : "",
		o.answer);
	if (write(fd, reply, strlen(reply)) < 0)
		perror("bus_gadget: answer");
}

static void *listen_on(void *context)
{
	const struct control *c = context;
	int fd;

	while ((fd = accept4(c->listening, NULL, NULL, SOCK_CLOEXEC)) >= 0 || errno == EINTR) {
		char text[TEXT_MAX];
		ssize_t n = fd < 0 ? -1 : read(fd, text, sizeof text - 1);

		if (n > 0) {
			text[n] = 0;
			answer(fd, text);
		}
		if (fd >= 0)
			close(fd);
	}
	return NULL;
}

static struct sockaddr_un place(void)
{
	return (struct sockaddr_un){ .sun_family = AF_UNIX, .sun_path = CONTROL_SOCKET };
}

int control_start(struct bus *b, struct composite *c, struct error *err)
{
	struct sockaddr_un at = place();
	pthread_t thread;
	int rc;

	control = (struct control){ b, c, socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0) };
	unlink(at.sun_path);
	if (control.listening < 0 || bind(control.listening, (void *)&at, sizeof at) < 0 ||
		listen(control.listening, 4) < 0)
		return error_sys(err, ERROR_IO, errno, "cannot listen on '%s'", at.sun_path);
	rc = pthread_create(&thread, NULL, listen_on, &control);
	if (rc)
		return error_sys(err, ERROR_IO, rc, "cannot start a thread");
	pthread_detach(thread);
	return 0;
}

static size_t join(char *text, size_t room, int count, char **words_in)
{
	size_t used = 0;

	*text = 0;
	for (int i = 0; i < count && used < room; i++)
		used += (size_t)snprintf(
			text + used, room - used, "%s%s", i ? " " : "", words_in[i]);
	return used;
}

int control_tell(int count, char **words_in)
{
	struct sockaddr_un at = place();
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	char text[TEXT_MAX + 16];
	size_t used;
	ssize_t n = -1;

	/* From asleep it takes the host no time to speak of, unlike the start of this program: else all orders would come when
	 * the host had just had no time for the drive. */
	if (count > 1 && !strncmp(words_in[0], "in=", 3)) {
		uint64_t ms;

		if (number_parse_u64(words_in[0] + 3, &ms) < 0 || ms > 60000) {
			fprintf(stderr, "bus_gadget: expected in=MILLISECONDS, 60000 at most\n");
			return 2;
		}
		clock_sleep_ns(ms * 1000000);
		count--;
		words_in++;
	}
	used = join(text, TEXT_MAX, count, words_in);
	if (used >= TEXT_MAX) {
		fprintf(stderr, "bus_gadget: the order is too long\n");
		return 2;
	}
	if (fd >= 0 && connect(fd, (void *)&at, sizeof at) == 0 &&
		write(fd, text, used) == (ssize_t)used)
		n = read(fd, text, sizeof text - 1);
	if (n <= 0) {
		perror("bus_gadget: no gadget answers");
		return 3;
	}
	close(fd);
	text[n] = 0;
	if (strncmp(text, "ok", 2) != 0) {
		fputs(text, stderr);
		return 1;
	}
	if (text[2] == ' ')
		fputs(text + 3, stdout);
	return 0;
}
