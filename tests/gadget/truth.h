/* The truth log: a line for each command, by the gadget's own clock (scripts/rig/README.md describes it). */
#ifndef GADGET_TRUTH_H
#define GADGET_TRUTH_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "medium/model_bulk.h"

/* Times are clock_ns; 0: did not come to pass. */
struct truth {
	unsigned lun;
	struct model_bulk_command command;
	double received; /* the command wrapper was there */
	double first; /* ready for the first piece of data: the transfer was begun */
	double data; /* the last piece had passed */
	double ready; /* the status was handed to the bus */
	double due; /* when the model wanted that */
	double sent; /* the bus had taken it */
	double next; /* ready for the next command */
	/* slept: before data, between pieces of it, before the status, before the next command */
	double wait_data, wait_pieces, wait_status, wait_next;
	const char *end; /* "status", "silent", "given-up" */
};

struct truth_log {
	FILE *file; /* NULL: none is kept */
	uint64_t lines;
};

/* 0 or a negative errno. */
int truth_open(struct truth_log *log, const char *path);
void truth_close(struct truth_log *log);
void truth_command(struct truth_log *log, const struct truth *t);
void truth_event(struct truth_log *log, double now, const char *words);

#endif
