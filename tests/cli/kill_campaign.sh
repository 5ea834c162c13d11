# A short campaign of kill -9; `make kill-campaign` runs the long one.
. "$(dirname "$0")/lib.sh"
requires_root
run 0 sh "$here/../../scripts/kill-campaign" 15
cat "$out"
says "bit-identical every time"
