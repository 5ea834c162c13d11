# Needs: uas
# Where phases cannot be seen the sweep runs as before, and one sentence says why: to somebody who is not root, and of a drive
# that is driven by UAS. No module: scenario phases; other targets: tests/cli/sweep_phases.sh.
modprobe usbmon || fail "no usbmon"
one="--order sequential --sizes 4Ki --region 0+1Mi --passes 1 --seconds 0.2"
lines() { grep -c . $err; }

stick
grep -q '^root:' /etc/passwd 2>/dev/null || echo 'root:x:0:0::/:/bin/sh' >>/etc/passwd
echo 'nobody:x:65534:65534::/:/bin/sh' >>/etc/passwd
chmod 666 "$stick"
mkdir -m 777 theirs
user() { # RECORD [OPTION]
	su -s /bin/sh -c "cd $work/theirs && exec blkassay sweep $stick $one --out $1 --quiet $2" nobody
}
is "who sweeps" "$(su -s /bin/sh -c 'id -u' nobody)" 65534
run 0 user user.assay --phases
says "where the time of requests goes is not shown: only root may watch the bus"
run 0 user quiet.assay
is "words on stderr of who did not ask" "$(lines)" 0
run 0 blkassay report theirs/quiet.assay
says "Where the time of a request goes is not shown: only root may watch the bus."
! grep -q 'phase-times\|phases=seen' theirs/*.assay || fail "phases that nobody saw"

# The kernel takes a drive for UAS where it offers that, once its driver is there.
modprobe uas && modprobe xhci-pci || fail "no uas"
uas=$(wait_for 60 node_of_serial STICK-0004 && node_of_serial STICK-0004) || fail "the UAS stick did not appear"
usb_of "$uas"
is "its driver" "$(basename "$(readlink -f "$(ls -d "$usb"/*:1.0)"/driver)")" uas
run 0 blkassay sweep "$uas" $one --phases --out uas.assay --quiet
says "where the time of requests goes is not shown: the target is driven by UAS, not by bulk-only transport"
run 0 blkassay report uas.assay
says "Where the time of a request goes is not shown: the target is driven by UAS, not by bulk-only transport."
! grep -q 'phase-times\|phases=seen' uas.assay || fail "phases that nobody saw"
