/* The kinds of library call that the fault shim counts, and the driver's names for them. */
#ifndef SHIM_KINDS_H
#define SHIM_KINDS_H

enum fault_kind {
	FAULT_OPEN, /* open, openat, fopen, opendir */
	FAULT_READ, /* read: records, sysfs */
	FAULT_PREAD, /* pread: the target, counters */
	FAULT_WRITE, /* write: records, kept data */
	FAULT_PWRITE, /* pwrite, pwritev2: the target */
	FAULT_SYNC, /* fsync, fdatasync, syncfs */
	FAULT_IOCTL,
	FAULT_STAT, /* stat and its relatives, statx, statfs */
	FAULT_CLOSE,
	FAULT_SIZE, /* ftruncate, fallocate, lseek */
	FAULT_NAME, /* rename, unlink, mkdir, readlink, realpath */
	FAULT_STREAM, /* fwrite, fputs, fflush, fclose, getline, readdir */
	FAULT_THREAD, /* pthread_create */
	FAULT_MEMORY, /* malloc and its relatives */
	FAULT_KINDS
};

__attribute__((unused)) static const char *const fault_kind_names[FAULT_KINDS] = { "open", "read",
	"pread", "write", "pwrite", "sync", "ioctl", "stat", "close", "size", "name", "stream",
	"thread", "memory" };

#endif
