# Verdicts of compare and answers of its gate on records of builds whose true rates are known: false ones are as rare, and true
# ones as sure, as it says. Seeded, so always the same; more of them: make truth TRUTH=compare FULL=1.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3, which works out the truth"
run 0 python3 "$here/../truth/truth.py" --only compare --models 60 --seed 3
