/* What the user is told while the tool works: stderr only. Results go to stdout by the report. */
#ifndef CLI_MESSAGE_H
#define CLI_MESSAGE_H

#include <stdbool.h>

struct error;

void message_set_quiet(bool quiet); /* --quiet: notes and progress off; warnings and errors stay */
bool message_is_quiet(void);

/* A terminal gets them wrapped at its width, anything else as they are: a line end in fmt parts lines that belong apart, never
 * one sentence. A line that begins with four blanks is a command to be pasted. Errors stay one line everywhere. */
void message_note(const char *fmt, ...) __attribute__((format(printf, 1, 2)));
void message_warning(const char *fmt, ...) __attribute__((format(printf, 1, 2)));
int message_error(const struct error *err); /* prints it and returns its exit status */

#endif
