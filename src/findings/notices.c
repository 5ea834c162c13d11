/* Sentences for kinds of run that have no view yet. */
#include "findings/notices.h"

#include "findings/run_findings.h"

bool notices_visit(const struct run *run, const struct notice_visitor *visitor)
{
	struct pool pool = { 0 };
	struct findings f = { .pool = &pool };
	bool whole;

	run_findings_add(&f, run);
	for (size_t i = 0; i < f.count; i++) {
		visitor->notice(visitor->context,
			f.list[i].code->kind == FINDING_CAUTION ? NOTICE_CAUTION : NOTICE_FINDING,
			f.list[i].sentence);
		if (f.list[i].command && visitor->command)
			visitor->command(visitor->context, f.list[i].command);
	}
	whole = !pool.failed;
	pool_release(&pool);
	return whole;
}
