"""What explain --model writes for designs of known truth, and what an edit of one line gives (twin.py makes and edits them)."""

import concurrent.futures
import types

import twin
from goals import Most, Share


def table(models, seed, folder, jobs, report):
    o = types.SimpleNamespace(build=None)
    like = Share("models of a run: within 3 % of the design at every size measured", 0.99)
    edits = Share("after one edit: within 5 % of the edited design", 0.8)
    silent = Most("edits that are not, without a word of what was not known", 0.01)
    with concurrent.futures.ProcessPoolExecutor(jobs) as pool:
        for index, _, unknown, _, off, changed in pool.map(twin.work, [(seed, i, o) for i in range(models or 200)], chunksize=4):
            like.add(off <= 0.03, "design %d: off by %.1f %%" % (index, 100 * off))
            for name, far, named in changed:
                edits.add(far <= 0.05, "design %d, %s edited: off by %.1f %%; not known: %s" % (index, name, 100 * far, unknown))
                silent.add(far > 0.05 and not named, "design %d, %s edited" % (index, name))
    for goal in (like, edits, silent):
        report(goal)
