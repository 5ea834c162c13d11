"""What explain --model writes for designs of known truth, and what an edit of one line gives (twin.py makes and edits them)."""

import concurrent.futures
import types

import twin
from goals import Most, Share


def of_designs(models, seed, jobs, report, told, goals, **how):
    o = types.SimpleNamespace(build=None, **{"gaps": False, "odd": False, "blind": False, "no_phases": False, **how})
    like = Share("models of a run%s: within 3 %% of the design at every size measured%s" % (told, ", or said to be off" if o.odd else ""), 0.99)
    edits = Share("after one edit%s: within 5 %% of the edited design" % told, 0.8) if goals else None
    silent = Most("edits that are not%s, without a word of what was not known" % told, 0.01)
    with concurrent.futures.ProcessPoolExecutor(jobs) as pool:
        for index, _, unknown, _, off, changed, _ in pool.map(twin.work, [(seed, i, o) for i in range(models or 200)], chunksize=4):
            like.add(off <= 0.03 or (o.odd and twin.said(unknown)), "design %d: off by %.1f %%" % (index, 100 * off))
            for name, far, named in changed:
                if edits:
                    edits.add(far <= 0.05, "design %d, %s edited: off by %.1f %%; not known: %s" % (index, name, 100 * far, unknown))
                silent.add(far > 0.05 and not named, "design %d, %s edited" % (index, name))
    for goal in (like, edits, silent):
        if goal:
            report(goal)


def table(models, seed, folder, jobs, report):
    of_designs(models, seed, jobs, report, "", True)
    # Pauses of the host and costs on the link, which phases alone tell from the gadget's own.
    of_designs(models, seed, jobs, report, " with pauses", True, gaps=True)
    # Frames, buffers, units, stalls: a model may not have those times, and has to say so.
    of_designs(models, seed, jobs, report, " of odd gadgets", False, odd=True)
    # Without any rate given, much stays unknown; it has to be said.
    of_designs(models, seed, jobs, report, " with pauses and no rate given", False, gaps=True, blind=True)
