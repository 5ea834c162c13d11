/* report: the summary, CSV, page and JSON of finished or cut records. */
#include "base/error.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/report_builds.h"
#include "cli/results.h"

int cmd_report(const struct options *o)
{
	struct results r = { 0 };
	struct error err = { 0 };
	int rc = results_open(&r, o, &err);

	if (rc < 0)
		return message_error(&err);
	rc = report_builds(&r, o, &err);
	for (size_t i = 0; !rc && i < o->arg_count; i++)
		rc = results_show_record(&r, o->args[i], &err);
	if (!rc)
		rc = results_finish(&r, &err);
	results_release(&r);
	return rc < 0 ? message_error(&err) : 0;
}
