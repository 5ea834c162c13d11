# A short campaign of mishaps at random moments of all that writes; `make mishaps` runs the long one.
. "$(dirname "$0")/lib.sh"
requires_root
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and the sanitizers do not go together"
MISHAP=$(dirname "$BLKASSAY")/tests/mishap.so run 0 sh "$here/../../scripts/mishap-campaign" 24
cat "$out"
says "no other file changed, nothing kept was lost"
