# Consent: what names this very target lets a run write, nothing else does.
. "$(dirname "$0")/lib.sh"
sweep() { # STATUS TARGET OPTION...
	status_wanted=$1 target=$2
	shift 2
	run "$status_wanted" "$BLKASSAY" sweep "$target" --sizes 4Ki --order random --seconds 0.01 --passes 1 \
		--out "$tmp/x.assay" "$@"
	[ "$status_wanted" = 0 ] || [ "$(wc -l <"$err")" = 1 ] || fail "not one line"
	[ "$status_wanted" = 0 ] || [ ! -e "$tmp/x.assay" ] || fail "left a record"
	rm -f "$tmp/x.assay"
}
dd if=/dev/urandom of="$tmp/card.img" bs=1M count=1 2>/dev/null
before=$(sha256sum <"$tmp/card.img")
sweep 2 "$tmp/card.img" --direction write
token=$(image_token "$tmp/card.img")
says "needs consent: --erase TOKEN ($token)"
sweep 2 "$tmp/card.img" --direction read,write
mkdir "$tmp/other"
cp "$tmp/card.img" "$tmp/other/card.img"
for wrong in card.img CARD.IMG card.im "${token%?}" "./$token" "$tmp/card.img" "$(image_token "$tmp/other/card.img")" '*' yes; do
	sweep 2 "$tmp/card.img" --direction write --erase "$wrong"
	says "--erase '$wrong' does not name"
	says_not "'$token'"
	sweep 2 "$tmp/card.img" --direction write --erase "$wrong" --keep-data
done
# Consent without a write is a misunderstanding, told before it matters.
for option in "--erase $token" --keep-data --fixed-disk; do
	# shellcheck disable=SC2086
	sweep 2 "$tmp/card.img" $option
	says "this run only reads"
done
# Reading needs none.
sweep 0 "$tmp/card.img"
[ "$(sha256sum <"$tmp/card.img")" = "$before" ] || fail "the image was written to"
sweep 0 "$tmp/card.img" --direction write --erase "$token"
says "what is there will be lost"
[ "$(sha256sum <"$tmp/card.img")" != "$before" ] || fail "nothing was written"

# --create makes new files only, whole ones, and takes back what a refused run made.
before=$(sha256sum <"$tmp/card.img")
sweep 2 "$tmp/card.img" --direction write --create 1Mi
says "exists already"
[ "$(sha256sum <"$tmp/card.img")" = "$before" ] || fail "--create touched an existing file"
ln -s "$tmp/nowhere.img" "$tmp/link.img"
sweep 2 "$tmp/link.img" --direction write --create 1Mi
[ ! -e "$tmp/nowhere.img" ] || fail "--create followed a link"
sweep 2 "$tmp/new.img" --direction write --create 1Mi --erase new.img
says "exclude each other"
sweep 2 "$tmp/new.img" --direction write --create 1Mi --keep-data
sweep 2 "$tmp/new.img" --direction write --create 1000
sweep 2 "$tmp/new.img" --direction write --create 1Mi --region 0+2Mi
sweep 2 "$tmp/new.img" --direction write --create 1Mi --sizes 8Ki,700
sweep 2 "$tmp/no/such/new.img" --direction write --create 1Mi
sweep 3 "$tmp/new.img" --direction write --create 4000000Ti
sweep 3 "$tmp/new.img" --direction write --create 1000000Ti
[ ! -e "$tmp/new.img" ] || fail "a refused run left its image"
sweep 0 "$tmp/new.img" --create 1Mi
[ "$(stat -c %s "$tmp/new.img")" = 1048576 ] || fail "wrong size"
[ "$(($(stat -c %b "$tmp/new.img") * 512))" -ge 1048576 ] || fail "not really allocated"
[ "$(gzip -c "$tmp/new.img" | wc -c)" -gt 1000000 ] || fail "its content compresses"

# A model holds nothing that could be lost: no token needed, but a wrong one is still wrong.
model=model:$here/../../scripts/models/buoy-a.model
sweep 0 "$model" --direction write
says_not "what is there will be lost"
sweep 2 "$model" --direction write --erase card.img
says "does not name"
sweep 2 "$model" --direction write --keep-data
says "holds nothing to keep"
sweep 2 "$model" --direction write --create 1Mi
sweep 2 "model:$tmp/absent" --direction write

# A file that may not be written.
if [ "$(id -u)" != 0 ]; then
	chmod 444 "$tmp/card.img"
	sweep 3 "$tmp/card.img" --direction write --erase "$token"
fi
requires_root
truncate -s 1M "$tmp/$unique.img"
attach --read-only "$tmp/$unique.img"
ro=$device
token=$(image_token "$tmp/$unique.img")-1048576
for consent in "--erase $token" --keep-data; do
	# shellcheck disable=SC2086
	sweep 2 "$ro" --direction write $consent
	says "is read-only"
done
sweep 0 "$ro"
# A link to the device is the device; a wrong and a right token.
let_go "$ro"
loop_device "$tmp/$unique.img"
ln -s "$loop" "$tmp/by-id"
sweep 2 "$tmp/by-id" --direction write --erase "other-1048576"
says "does not name"
says_not "$token"
sweep 2 "$tmp/by-id" --direction write
says "'blkassay targets' shows it"
sweep 0 "$tmp/by-id" --direction write --erase "$token"
# The same line with a file of the same name and size from another folder in the device.
mkdir "$tmp/twin"
truncate -s 1M "$tmp/twin/$unique.img"
attach "$tmp/twin/$unique.img"
sweep 2 "$device" --direction write --erase "$token"
says "does not name"
let_go "$device"
# Two devices with one token: consent could mean either. One path, but another file in another mount namespace.
unshare --mount sh -c "mount --bind '$tmp/twin' '$tmp' && losetup --find --show '$tmp/$unique.img' && exec sleep 1000" \
	>"$tmp/twin.device" 2>"$err" &
elsewhere=$!
cleanup "kill $elsewhere 2>/dev/null"
tries=0
until [ -s "$tmp/twin.device" ]; do
	kill -0 $elsewhere 2>/dev/null || skip "cannot make a mount namespace here; the rest passed"
	[ $((tries += 1)) -lt 1500 ] || fail "no twin"
	sleep 0.02
done
twin=$(cat "$tmp/twin.device")
cleanup "losetup -d $twin 2>/dev/null"
[ "$(token_of "$twin")" = "$token" ] || fail "no twin: $(token_of "$twin")"
for device in "$loop" "$twin"; do
	sweep 2 "$device" --direction write --erase "$token"
	says "the same token"
done
losetup -d "$twin"
sweep 0 "$loop" --direction write --erase "$token"

# Not removable needs a second option.
number=$(cat /sys/class/zram-control/hot_add 2>/dev/null) || skip "no zram here: --fixed-disk not tested, the rest passed"
cleanup "echo $number >/sys/class/zram-control/hot_remove"
echo 1M >"/sys/block/zram$number/disksize"
sweep 2 "/dev/zram$number" --direction write --erase "zram$number-1048576"
says "--fixed-disk"
sweep 2 "/dev/zram$number" --direction write --keep-data
says "not removable"
sweep 2 "/dev/zram$number" --direction write --fixed-disk
says "needs consent"
sweep 0 "/dev/zram$number" --direction write --erase "zram$number-1048576" --fixed-disk
