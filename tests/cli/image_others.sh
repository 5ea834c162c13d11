# Whoever else is at an image or at the file beneath a loop device: locked, open for writing, a loop device put on it by any
# of its names, below an overlay, filesystems in files in filesystems. Before the run: refused. While it runs: the run ends
# with 3 and leaves what it saved.
. "$(dirname "$0")/lib.sh"
requires_root
image=$tmp/card.img
head -c 2M /dev/urandom >"$image"
before=$(sha256sum <"$image")
closed() { kill $opener; wait $opener 2>/dev/null; }
refused() { # TARGET TEXT
	before_it=$(sha256sum <"$1")
	for consent in --keep-data "--erase $(token_of "$1")$([ -b "$1" ] || image_token "$1")"; do
		# shellcheck disable=SC2086
		run 2 "$BLKASSAY" sweep "$1" --direction write --sizes 4Ki --seconds 0.01 --passes 1 --out "$tmp/x.assay" $consent
		says "$2"
		[ "$(wc -l <"$err")" = 1 ] || fail "not one line"
		[ ! -e "$tmp/x.assay" ] && [ ! -e "$tmp/x.assay.kept" ] || fail "left files"
	done
	[ "$(sha256sum <"$1")" = "$before_it" ] || fail "it was written to"
}
fine() { # TARGET
	run 0 "$BLKASSAY" sweep "$1" --direction write --keep-data --sizes 4Ki --seconds 0.01 --passes 1 --out "$tmp/x.assay"
	rm "$tmp/x.assay"
}

# Before the run. Who it is is said.
opened '<>' "$image"
refused "$image" "is open for writing by another program: process $opener (sleep)"
closed
opened '<' "$image" 'flock -s 9'
refused "$image" "in use by another program: process $opener (sleep) has locked it"
closed
opened '<' "$image" # reading disturbs nobody
fine "$image"
closed
attach "$image"
lower=$device
opened '<>' "$image"
refused "$lower" "the file beneath '$lower' is open for writing by another program: process $opener (sleep)"
closed
opened '<' "$image" 'flock -x 9'
refused "$lower" "process $opener (sleep) has locked the file beneath"
run 2 "$BLKASSAY" sweep "$lower" --sizes 4Ki --seconds 0.01 --passes 1 --out "$tmp/x.assay"
says "has locked the file beneath"
closed
fine "$lower"
# A file beneath that has no name any more cannot be reached: not to be locked, so not written.
ln "$image" "$tmp/name.img"
let_go "$lower"
attach "$tmp/name.img"
rm "$tmp/name.img"
refused "$device" "the file beneath '$device' cannot be reached"
run 0 "$BLKASSAY" sweep "$device" --sizes 4Ki --seconds 0.01 --passes 1 --out "$tmp/x.assay"
rm "$tmp/x.assay"
let_go "$device"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the image is not as before"

# While a run writes.
during() { # TARGET TEXT COMMAND...
	target=$1 text=$2
	shift 2
	rm -f "$tmp/y.assay" "$tmp/y.assay.kept"
	"$BLKASSAY" sweep "$target" --direction write --keep-data --sizes 4Ki --seconds 60 --passes 1 --region 0+1Mi \
		--out "$tmp/y.assay" >"$out" 2>"$err" &
	pid=$!
	cleanup "kill -9 $pid 2>/dev/null"
	await ' plan ' "$tmp/y.assay"
	tries=0
	until [ "$(sha256sum <"$target")" != "$before" ]; do
		[ $((tries += 1)) -lt 1500 ] || fail "the run does not begin to write"
		sleep 0.02
	done
	"$@"
	status=0
	wait $pid || status=$?
	[ $status = 3 ] || fail "exit status $status, not 3"
	grep -qE -e "$text" "$err" || fail "nothing says '$text'"
	[ -s "$tmp/y.assay.kept" ] || fail "the saved data is gone"
	says "blkassay restore "
}
back() { # TARGET
	run 0 "$BLKASSAY" restore "$tmp/y.assay.kept" "$1"
	rm "$tmp/y.assay.kept"
	[ "$(sha256sum <"$image")" = "$before" ] || fail "the data is not back"
}
# losetup(8) is seen while it still has the file open itself, or the device after that.
put_on="was put on .* during this run|was opened for writing by another program, process [0-9]+ \(losetup\)"
during "$image" "$put_on" attach "$image"
let_go "$device"
back "$image"
ln "$image" "$tmp/name.img"
during "$image" "$put_on" attach --read-only --offset 1048576 "$tmp/name.img"
let_go "$device"
back "$image"
during "$image" "was opened for writing by another program, process [0-9]+ \(s" opened '<>' "$tmp/name.img"
closed
back "$image"
attach "$image"
lower=$device
during "$lower" "$put_on" attach "$image"
let_go "$device"
back "$lower"
during "$lower" "was put on '$lower'" attach "$lower"
let_go "$device"
back "$lower"
let_go "$lower"

# A second run by another way while one writes: refused, and the first one ends, or never hears of it.
"$BLKASSAY" sweep "$image" --direction write --keep-data --sizes 4Ki --seconds 60 --passes 1 --out "$tmp/z.assay" 2>"$tmp/y.err" >&2 &
pid=$!
cleanup "kill -9 $pid 2>/dev/null"
await " plan " "$tmp/z.assay"
run 2 "$BLKASSAY" sweep "$tmp/name.img" --direction write --keep-data --sizes 4Ki --seconds 0.01 --passes 1 --out "$tmp/x.assay"
says "in use by another program: process $pid (blkassay) has locked it"
sleep 0.1
kill -0 $pid || { cat "$tmp/y.err"; fail "an attempt that was refused ended the first run"; }
kill -INT $pid
wait $pid
[ "$(sha256sum <"$image")" = "$before" ] || fail "the data is not back"

# A filesystem in the image, mounted; an image in that; a run on the inner one finds the outer locked and the other way round.
truncate -s 32M "$tmp/outer.img"
mkfs.ext4 -q "$tmp/outer.img" 2>/dev/null || skip "needs mkfs.ext4; the rest passed"
mkdir "$tmp/mnt"
attach "$tmp/outer.img"
outer=$device
mount "$outer" "$tmp/mnt" || skip "cannot mount; the rest passed"
cleanup "umount '$tmp/mnt' 2>/dev/null"
cp "$image" "$tmp/mnt/inner.img"
opened '<' "$tmp/outer.img" 'flock -x 9'
refused "$tmp/mnt/inner.img" "has locked the file that its filesystem lies in"
closed
attach "$tmp/mnt/inner.img"
opened '<' "$tmp/outer.img" 'flock -x 9'
refused "$device" "has locked the file that its filesystem lies in"
closed
fine "$device"
let_go "$device"
fine "$tmp/mnt/inner.img"

# An overlay: the file is another one below it.
mkdir "$tmp/l" "$tmp/u" "$tmp/w" "$tmp/m"
cp "$image" "$tmp/l/card.img"
mount -t overlay overlay -o "lowerdir=$tmp/l,upperdir=$tmp/u,workdir=$tmp/w" "$tmp/m" 2>/dev/null ||
	skip "cannot mount an overlay; the rest passed"
cleanup "umount '$tmp/m' 2>/dev/null"
fine "$tmp/m/card.img"
cmp -s "$image" "$tmp/l/card.img" || fail "the lower file was written to"
[ -e "$tmp/u/card.img" ] || fail "nothing in the upper folder"
attach "$tmp/u/card.img"
refused "$tmp/m/card.img" "is built on the file it really is"
let_go "$device"
opened '<>' "$tmp/u/card.img"
refused "$tmp/m/card.img" "is open for writing by another program: process $opener (sleep)"
closed
image=$tmp/m/card.img
during "$image" "$put_on" attach "$tmp/u/card.img"
let_go "$device"
back "$image"
