/* Where a target's own data is, on stderr: beside views that are for a program or about more than one run. */
#ifndef CLI_KEPT_WARNING_H
#define CLI_KEPT_WARNING_H

struct run;

/* When that run has not put it back. */
void kept_warning(const struct run *run);
/* The same by the record's path, quick where no saved file lies next to it. */
void kept_warning_of(const char *path);

#endif
