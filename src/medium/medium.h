/* Where the bytes live: a block device, an image file, a gadget model, or a wrapper around one of them.
 *
 * Calls return 0 or a negative errno and print nothing. A read or write that ends early is a fact, not an error:
 * the call returns 0 and *got is smaller than asked. Offsets and lengths are multiples of the logical block, memory is
 * aligned to memory_align_bytes; the caller sees to it. read and write may be called from several threads at once
 * unless traits.virtual_clock is set. */
#ifndef MEDIUM_MEDIUM_H
#define MEDIUM_MEDIUM_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/error.h"

struct hold; /* platform/hold.h */
struct medium; /* fields known to medium/ only */
struct telltales; /* medium/telltale.h */
struct scsi_exchange; /* medium/scsi.h */
struct command_watch; /* medium/command_times.h */

enum medium_kind { MEDIUM_BLOCK_DEVICE, MEDIUM_IMAGE, MEDIUM_MODEL, MEDIUM_MEMORY };
enum medium_access { MEDIUM_READ_ONLY, MEDIUM_READ_WRITE };
enum medium_cache { MEDIUM_CACHE_UNKNOWN, MEDIUM_CACHE_WRITE_THROUGH, MEDIUM_CACHE_WRITE_BACK };

struct medium_traits {
	enum medium_kind kind;
	char path[512]; /* as it was opened */
	char name[96]; /* kernel name (sdb), file name, model name */
	char vendor[64]; /* as the device says, blanks trimmed; "" when unknown */
	char model[96];
	char serial[96];
	char revision
		[24]; /* of the firmware, as it calls itself: INQUIRY and the like; "" when unknown */
	char usb_release[8]; /* bcdDevice of its USB device descriptor; "" when unknown */
	char not_known[160]; /* of a model: what it was made without knowing */
	char transport[16]; /* usb, mmc, loop, virtio, file, model, ... */
	uint64_t size_bytes;
	uint32_t logical_block_bytes;
	uint32_t physical_block_bytes;
	uint32_t memory_align_bytes;
	uint32_t offset_align_bytes; /* of offsets and lengths; >= logical_block_bytes */
	uint32_t request_limit_bytes; /* the kernel splits longer requests; 0: unknown or none */
	uint64_t link_bits_per_second; /* signalling rate the kernel reports; 0: unknown */
	enum medium_cache cache; /* what the kernel believes */
	bool fua; /* what the kernel believes */
	bool removable; /* by its mark or its transport */
	bool marked_removable; /* the mark alone (RMB), as the kernel read it */
	bool read_only;
	bool virtual_clock; /* time is modelled: say so in every output; one thread only */
	uint64_t disk_sequence; /* of the kernel; changes on re-plug; 0: unknown */
};

/* What the device itself has counted since it appeared (Linux: Documentation/ABI/testing/procfs-diskstats). */
struct medium_counts {
	uint64_t reads, reads_merged, read_bytes;
	uint64_t writes, writes_merged, written_bytes;
	uint64_t flushes;
	bool errors_known; /* the next one: SCSI devices and models */
	/* Commands that ended with anything but success, or not at all; medium_counts leaves out those that this run's own SCSI
	 * commands brought about. */
	uint64_t errors;
};

/* How hard to look whether the medium is still the one that was opened. */
enum medium_check {
	MEDIUM_CHECK_REQUEST, /* at every write, flush, SCSI command and read: may cost well under a microsecond */
	MEDIUM_CHECK_BATCH, /* before a batch (a pass, a phase, 64 writes, a piece of kept data): may cost milliseconds */
	MEDIUM_CHECK_FAILED, /* after a failed request: asks whoever knows, the device itself too */
};

struct medium_ops {
	int (*read)(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got);
	int (*write)(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got);
	int (*write_through)(
		struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got);
	int (*flush)(struct medium *m);
	int (*scsi)(struct medium *m, struct scsi_exchange *x);
	int (*counts)(struct medium *m, struct medium_counts *counts);
	int (*drop_cache)(struct medium *m);
	uint64_t (*now_ns)(struct medium *m);
	void (*idle_ns)(struct medium *m, uint64_t ns);
	void (*move_clock_ns)(struct medium *m, uint64_t now_ns);
	int (*replug)(struct medium *m, bool power_lost);
	int (*watch_commands)(struct medium *m, const struct command_watch *w);
	/* Is it still the target that was opened, and may it be written as when it was opened? 0, or a negative errno with
	 * the whole sentence in *why: then it is lost for good. Must not call medium_write and its like on m. NULL: always. */
	int (*check)(struct medium *m, enum medium_check how, struct error *why);
	/* Takes the medium that is there now for the one that is meant, if it has the same size: check compares with it from
	 * here on. Absorbs unit attentions. 0, or a negative errno with *why. NULL: nothing to do. */
	int (*renew)(struct medium *m, struct error *why);
	void (*close)(struct medium *m);
};

/* Known to medium/identity.c only. */
struct medium_identity {
	/* negative errno; 0: still the target that was opened, as far as is known */
	_Atomic int lost;
	struct error why; /* complete before `lost` is set, never changed after */
	_Atomic uint64_t batch_ns; /* the last check of a batch; coarse clock */
	_Atomic int stage; /* enum identity_stage */
	/* the first write was or is about to be: attentions are absorbed no more */
	_Atomic bool armed;
	/* something happened since the tell-tales were last read back: a reset, errors of nobody's */
	_Atomic bool doubted;
	_Atomic uint64_t errors_seen; /* of the kernel's count, less this run's own */
	_Atomic uint64_t resets; /* unit attentions 29h that came to this run's own commands */
	/* a command of this run failed in transport, which the kernel mends by a reset */
	_Atomic bool reset_due;
	_Atomic uint64_t own_errors; /* answers to this run's own commands that were no success */
	struct telltales *telltales; /* NULL: not kept */
};

/* Every implementation starts with this. A NULL slot means "not offered" and answers -ENOTSUP (now_ns and idle_ns
 * fall back to the machine's clock). */
struct medium {
	const struct medium_ops *ops;
	struct medium_traits traits;
	struct medium *inner; /* of a wrapper: its identity is the one that counts; else NULL */
	struct medium_identity identity;
};

/* Opens what the user named: a path, or model:FILE. Block devices exclusively (O_EXCL), always with O_DIRECT.
 * On failure *out is NULL and *err a sentence. Does not decide whether the target may be written: see platform/guard.h. */
int medium_open(
	struct medium **out, const char *target, enum medium_access access, struct error *err);
/* The same of a target that is held (platform/hold.h) for as long as the medium is open: an image is opened by its hold,
 * whatever its name means by now, and the hold is asked with every check. */
int medium_open_held(struct medium **out, struct hold *hold, const char *target,
	enum medium_access access, struct error *err);
void medium_close(struct medium *m); /* closing NULL does nothing */

static inline const struct medium_traits *medium_traits(const struct medium *m)
{
	return &m->traits;
}

int medium_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got);
int medium_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got);
/* Returns when the device says this very write is stored (FUA, or write and flush by the kernel). */
int medium_write_through(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got);
int medium_flush(struct medium *m);
int medium_scsi(struct medium *m, struct scsi_exchange *x);
int medium_counts(struct medium *m, struct medium_counts *counts);
/* Throws away what the host has cached of this device. 0 also where there is nothing to drop. */
int medium_drop_cache(struct medium *m);
/* Is it still the target that was opened? Asked by the calls above by themselves before each request that may change it
 * and after each read (MEDIUM_CHECK_REQUEST), and at each flush and once a second as MEDIUM_CHECK_BATCH. What works in batches calls it
 * at each one's start; what meets failures calls it with MEDIUM_CHECK_FAILED before it believes them. 0, or a negative
 * errno: ENODEV, ENOMEDIUM (gone), ESTALE (another one is there now, or somebody else writes it too). From then on every
 * read, write, flush and SCSI command gives that errno and nothing reaches the target. */
int medium_check(struct medium *m, enum medium_check how);
/* Why, as a whole sentence (ERROR_IO); NULL as long as it is not lost. */
const struct error *medium_lost(const struct medium *m);
/* Puts that sentence in place of another one (keeping nothing of it) when the medium is lost. Returns -1, for
 * `return medium_explain(m, err)` behind an error already set. */
int medium_explain(const struct medium *m, struct error *err);

/* For every run that writes, before what is there is saved or overwritten: from here on a unit attention that speaks of
 * another medium ends it (those that waited from before are absorbed), and some of what is written and flushed is remembered
 * to know the medium again by. A first write does it by itself. 0 or -ENOMEM. */
int medium_hold(struct medium *m);
/* Remembers also what is written to a medium that cannot be taken out: where the target itself goes and comes back. */
int medium_keep_telltales(struct medium *m);
/* Writes between true and false are marks: see telltales_mark. */
void medium_mark(struct medium *m, bool on);
/* What was remembered outlives the medium: taken before it is closed, given to the one that is opened in its place (or freed
 * with telltales_free). NULL is nothing. */
struct telltales *medium_take_telltales(struct medium *m);
void medium_give_telltales(struct medium *m, struct telltales *t);

/* From here on the run itself makes the medium leave and come back, or has the user do it. Once it has left, nothing is
 * written and nothing read until medium_confirm; START STOP UNIT and questions go through. */
void medium_expect_change(struct medium *m);
/* Is anything that was flushed last still to be read, so that medium_confirm would know it? */
bool medium_is_known(struct medium *m);
/* Has it left, or another come, since medium_expect_change? */
bool medium_has_left(const struct medium *m);
/* Ends that: 0 when the size fits and one of the blocks that this run flushed last is there; else it is lost: negative
 * errno. */
int medium_confirm(struct medium *m);

/* Unit attentions 29/00 (power on, reset) that came to this run's commands: not a change of medium, but worth a word. */
uint64_t medium_resets(const struct medium *m);

uint64_t medium_now_ns(struct medium *m);
/* From an earlier reading until now, as clock_span_ns. */
uint64_t medium_since_ns(struct medium *m, uint64_t from);
/* lets time pass: sleeps, or moves the virtual clock */
void medium_idle_ns(struct medium *m, uint64_t ns);
/* Virtual clocks only: the next request arrives at now_ns, which may lie before the end of the last one
 * (several in flight). -ENOTSUP on real media. */
int medium_move_clock_ns(struct medium *m, uint64_t now_ns);
/* Models only: unplug and plug in again, with or without losing power. -ENOTSUP on real media. */
int medium_replug(struct medium *m, bool power_lost);
/* Models only: tells of every command and its phases from here on, in the modelled time. NULL: no more. -ENOTSUP on real
 * media, whose bus the kernel watches (platform/usbmon.h). */
int medium_watch_commands(struct medium *m, const struct command_watch *w);

#endif
