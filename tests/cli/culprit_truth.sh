# What explain names for gadgets of known truth: each cause, and each pair of them, swept as models. The whole grid and
# other seeds: tests/truth/culprit.py --models 600 --seed N (--odd).
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3, which works out the truth"
python3 "$here/../truth/culprit.py" --models 106 --seed 7 --verbose --build "$(dirname "$BLKASSAY")" >"$out" 2>&1 ||
	fail "a cause is named wrongly, or too few are named"
tells "0 of them wrong"
# Each way to be odd twice: two sizes, units of 24 KiB, buffers, noise, rates that are 5 % off.
python3 "$here/../truth/culprit.py" --odd --models 68 --seed 7 --verbose --build "$(dirname "$BLKASSAY")" >"$out" 2>&1 ||
	fail "of odd gadgets a cause is named wrongly, or too few are named"
tells "0 of them wrong"
exit 0
