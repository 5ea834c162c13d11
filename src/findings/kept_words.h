/* Where the target's own data is, when a run with --keep-data has not put it back as far as its record tells. */
#ifndef FINDINGS_KEPT_WORDS_H
#define FINDINGS_KEPT_WORDS_H

#include <stdbool.h>

struct run;
struct text;

/* One sentence, and the command that puts the data back, "" when there is none to give: quoted for a shell, of ASCII alone, so
 * that it can be shown anywhere, and pasted. False: there is nothing to say, and nothing was added. The sentence may
 * hold a stranger's text. */
bool kept_words(struct text *sentence, struct text *command, const struct run *run);

#endif
