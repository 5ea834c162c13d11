# Between the look at a target and its opening another device takes its place: refused, and not a byte is written to it.
# alone
. "$(dirname "$0")/lib.sh"
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and the sanitizers do not go together"
requires_root
library=$(dirname "$BLKASSAY")/tests/at_open.so
for name in meant other; do
	head -c 4M /dev/urandom >"$tmp/$name.img"
	attach "$tmp/$name.img"
	eval "$name=$device"
done
sum=$(sha256sum <"$tmp/other.img")
sweep() { # NTH COMMAND: which happens before the target is opened for the NTH time
	run 2 env AT_OPEN_PATH="$tmp/link" AT_OPEN_NTH="$1" AT_OPEN_DO="$2" LD_PRELOAD="$library" "$BLKASSAY" sweep "$tmp/link" \
		--erase "$token" --direction write --sizes 4Ki --seconds 0.1 --passes 1 --out "$tmp/s.assay"
	says_not "overwritten"
	sync
	[ "$(sha256sum <"$tmp/other.img")" = "$sum" ] || fail "the other device was written to"
	[ ! -e "$tmp/s.assay" ] || fail "a record was left"
}
token=$(token_of "$meant")
# The name means another device: seen at the first opening and at the last.
for nth in 1 2; do
	ln -sfn "$meant" "$tmp/link"
	sweep $nth "ln -sfn '$other' '$tmp/link'"
done
# The device itself lies on another file, of the same size: number and name are the same.
ln -sfn "$meant" "$tmp/link"
let_go "$other"
for nth in 1 2; do
	sweep $nth "losetup -d '$meant'; while losetup '$meant' >/dev/null 2>&1; do :; done; losetup '$meant' '$tmp/other.img'"
	losetup -d "$meant"
	while losetup "$meant" >/dev/null 2>&1; do :; done
	losetup "$meant" "$tmp/meant.img"
done
