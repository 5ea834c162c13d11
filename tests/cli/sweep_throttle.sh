# A loop device under a kernel rate limit is measured within 2 % of that limit, at every request size.
. "$(dirname "$0")/lib.sh"
requires_root
[ -z "${SANITIZED:-}" ] || skip "a matter of timing: measured without the sanitizers"
limit=8000000
for controller in /sys/fs/cgroup/blkio /sys/fs/cgroup; do
	[ -e "$controller/blkio.throttle.read_bps_device" ] && version=1 && break
	grep -qsw io "$controller/cgroup.controllers" && version=2 && break
	version=
done
[ -n "$version" ] || skip "needs the cgroup io or blkio controller to limit a loop device"
group=$controller/blkassay-test-$$
mkdir "$group" 2>/dev/null || skip "cannot make a cgroup in $controller"
cleanup "rmdir '$group' 2>/dev/null"
truncate -s 64M "$tmp/card.img"
loop_device "$tmp/card.img"
number=$(cat "/sys/block/$(basename "$loop")/dev")
if [ "$version" = 1 ]; then
	echo "$number $limit" >"$group/blkio.throttle.read_bps_device" || skip "cannot limit a loop device"
else
	echo +io >"$controller/cgroup.subtree_control" 2>/dev/null
	[ -e "$group/io.max" ] || skip "cannot limit a loop device: no io.max"
	echo "$number rbps=$limit" >"$group/io.max" || skip "cannot limit a loop device"
fi
# The kernel hands out its allowance in slices of a tenth of a second and is sometimes late with one: the median over
# passes, which is what the tool reports, is what must hold.
run 0 sh -c 'echo $$ >"$1/cgroup.procs"; shift; exec "$@"' sh "$group" "$BLKASSAY" sweep "$loop" \
	--order sequential --sizes 4Ki,64Ki,1Mi --seconds 5 --passes 3 --out "$tmp/limited.run"
run 0 "$BLKASSAY" report "$tmp/limited.run" --csv "$tmp/limited.csv"
tr -d '\r' <"$tmp/limited.csv" | tail -n +2 | sort -t, -k6,6n -k14,14n | awk -F, -v limit=$limit '
	{ n = ++count[$6]; if (n != 2) next # the median of three
	off = $14 / limit - 1; if (off < 0) off = -off
	printf "%s bytes: %.0f B/s, off by %.2f %%\n", $6, $14, off * 100
	if (off > 0.02) bad = 1; sizes++ } END { exit bad || sizes != 3 }' || fail "not within 2 % of $limit B/s"
