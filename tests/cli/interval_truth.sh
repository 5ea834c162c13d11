# Do the intervals hold what they are said to hold, also where passes resemble their neighbours? On records made by a program of
# the tests. In full: make truth FULL=1.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3, which makes the records"
run 0 python3 "$here/../truth/truth.py" --only interval --models 20 --seed 3
says_not MISSED
says "the streaming rate"
exit 0
