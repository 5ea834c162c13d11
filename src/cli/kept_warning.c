/* Where a target's own data is, on stderr. */
#include "cli/kept_warning.h"

#include <stdio.h>
#include <unistd.h>

#include "base/text.h"
#include "cli/message.h"
#include "findings/kept_words.h"
#include "record/run.h"

void kept_warning(const struct run *run)
{
	struct text sentence, command;

	text_init(&sentence);
	text_init(&command);
	if (!kept_words(&sentence, &command, run))
		;
	else if (command.length)
		message_warning("'%s': %s\n    %s", run->path, sentence.bytes, command.bytes);
	else
		message_warning("'%s': %s", run->path, sentence.bytes);
	text_release(&sentence);
	text_release(&command);
}

void kept_warning_of(const char *path)
{
	char saved[1024];
	struct run run;

	snprintf(saved, sizeof saved, "%s.kept", path);
	if (access(saved, F_OK) < 0 || run_load(&run, path, NULL) < 0)
		return;
	kept_warning(&run);
	run_release(&run);
}
