/* The one line on a terminal that is drawn again and again, at the end of stderr. */
#ifndef CLI_STATUS_LINE_H
#define CLI_STATUS_LINE_H

/* At most `columns` - 1 characters of it: a full line would wrap on some terminals. */
void status_line_draw(const char *line, unsigned columns);

/* Wipes it, if it is there, before something else is written to stderr. */
void status_line_hide(void);

#endif
