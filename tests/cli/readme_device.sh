# The path of README.md's "On your gadget", as it stands, on a loop device: only sudo goes (this is root), TOKEN and /dev/sdX are
# filled in, and sweeps are short. What needs a hand or a switched supply is not run, but its options must be taken.
. "$(dirname "$0")/lib.sh"
requires_root
cd "$tmp" || exit 1
truncate -s 300M card.img
loop_device card.img
token=$(token_of "$loop")
mkdir bin
ln -s "$BLKASSAY" bin/blkassay
PATH=$tmp/bin:$PATH
awk '/^## / { on = /On your gadget/ } on && /^\$ / { print substr($0, 3) }' "$here/../../README.md" >lines
[ "$(grep -c blkassay lines)" -ge 10 ] || fail "README's path has hardly a line"
sed -i -e 's/  *#.*//' -e 's/^sudo //' -e "s|/dev/sdX|$loop|" -e "s|TOKEN|$token|" lines
names=$(sed -n 's/.*--out \([^ ]*\).*/\1/p' lines | sort | uniq -d)
[ -z "$names" ] || fail "two lines leave the same record: $names"
ran=0
while read -r line; do
	case $line in
	"make "* | "umount "*) continue ;;
	"blkassay cut "* | *" b-cuts.assay "*) continue ;;
	"blkassay sweep "*) line="$line --seconds 0.02 --passes 3" ;;
	esac
	status=0
	sh -c "$line" >"$out" 2>"$err" </dev/null || status=$?
	case "$line:$status" in
	*:0) ;;
	# Of a loop device nothing is promised that could be asked about; two runs on a busy disk may differ or not.
	"blkassay audit "*:4 | *--allow-slower*:[14]) ;;
	*) fail "'$line' exits with $status" ;;
	esac
	ran=$((ran + 1))
done <lines
[ $ran -ge 9 ] || fail "only $ran lines ran"
# The lines of cut: refused for the token alone, so every option was taken.
grep '^blkassay cut ' lines >cuts
[ "$(wc -l <cuts)" = 2 ] || fail "not two lines of cut"
while read -r line; do
	status=0
	sh -c "$(echo "$line" | sed "s/--erase $token/--erase another/")" >"$out" 2>"$err" </dev/null || status=$?
	[ $status = 2 ] || fail "'$line' exits with $status"
	says "does not name"
done <cuts
