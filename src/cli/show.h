/* A run's summary on standard output, in the width and characters it can show. */
#ifndef CLI_SHOW_H
#define CLI_SHOW_H

struct cut_record;
struct error;
struct run;

/* 0, or -1 with *err. */
int show_cut(const struct run *run, const struct cut_record *r, struct error *err);

/* On stderr, beside views that are for a program or about more than one run: where the target's own data is, when that
 * run has not put it back. */
void show_kept_warning(const struct run *run);
/* The same by the record's path, quick where no saved file lies next to it. */
void show_kept_warning_of(const char *path);

#endif
