# Stored rates, reads beside writes, and copy times on a seeded selection of gadgets whose truth a program of the tests works
# out. All of them: make truth FULL=1.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3, which works out the truth"
run 0 python3 "$here/../truth/truth.py" --only stored --models 20 --seed 3
says_not MISSED
says "stored rates shown"
exit 0
