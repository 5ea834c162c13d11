# What can happen to a drive at random moments of every command that writes: the card forced out, another of the same size or
# of another put in (with the host polling and without), the plug pulled, the driver let go, the host turning it away, a
# reset. Nothing but the drive's own card is written, but for the one request that may slip through; nothing kept is lost;
# exit status and sentence fit. As mishaps_long it goes through many moments, by hand. Each moment of a seed is the same by itself:
# RIG_SEED=N RIG_MOMENTS=FROM-TO goes through some of them, or goes on where it stopped.
# Time limit: 7200 s
moments=8
case $RIG_JOB in *long*) moments=200 ;; esac
range=${RIG_MOMENTS:-1-$moments}
seed=${RIG_SEED:-$(tr -dc 0-9 </dev/urandom | head -c 6)}
card_bytes=$((2 << 20))
number() { awk -v s="$seed" -v k="$1" -v m="$2" 'BEGIN { srand((s + k * 7919) % 2147483647); rand(); print 1 + int(rand() * m) }'; }
broken() { fail "moment $moment of seed $seed: $command, $event at request $at: $*"; }

head -c $card_bytes /dev/urandom >own.img
cp own.img card.img
head -c $card_bytes /dev/urandom >same.img
head -c $((card_bytes * 2)) /dev/urandom >larger.img
cp same.img same.now
cp larger.img larger.now
gadget_plug $work/card.img
token "$gadget"

command_line() {
	case $command in
	sweep-kept) set -- sweep "$gadget" --keep-data --region 0+512Ki --direction write --sizes 4Ki,64Ki --order random --seconds 0.3 --passes 1 ;;
	sweep-erase) set -- sweep "$gadget" --erase "$token" --region 0+512Ki --direction write --sizes 4Ki,64Ki --order random --seconds 0.3 --passes 1 ;;
	verify-kept) set -- verify "$gadget" --keep-data --region 0+512Ki --sizes 16Ki --generations 2 ;;
	verify-erase) set -- verify "$gadget" --erase "$token" --region 0+512Ki --sizes 16Ki --generations 2 ;;
	audit-kept) set -- audit "$gadget" --keep-data --region 0+256Ki ;;
	cut-kept) set -- cut "$gadget" --keep-data --region 0+256Ki --seconds 1 ;;
	cut-erase) set -- cut "$gadget" --erase "$token" --region 0+256Ki --seconds 1 ;;
	restore) set -- restore $disk/old.kept "$gadget" ;;
	esac
	[ $command = restore ] || set -- "$@" --seed 5 --out $disk/k.assay
	exec blkassay "$@"
}
# About how many requests each makes before it puts back or ends; further ones are halved until one is met.
requests() {
	case $command in
	sweep-*) echo 200 ;;
	verify-*) echo 230 ;;
	audit-*) echo 400 ;;
	cut-*) echo 150 ;;
	restore) echo 8 ;;
	esac
}
mishap() { # sets what, undo, wanted, words
	eject="echo 1 >$lun/forced_eject"
	# At its first requests it is still being opened: refused.
	undo=: wanted="2 3" words="may hold another medium|is gone|has just been changed|no longer the device|not the target it was|cannot open"
	case $event in
	ejected) what=$eject ;;
	swapped) what="$eject; echo $work/same.now >$lun/file" ;;
	resized) what="$eject; echo $work/larger.now >$lun/file" ;;
	swapped-polled) what="echo 50 >/sys/block/${gadget#/dev/}/events_poll_msecs; $eject; echo $work/same.now >$lun/file; sleep 1" ;;
	unplugged) what="echo '' >$configfs/UDC" undo=gadget_replug ;;
	unbound) what="basename $usb/*:1.0 >/sys/bus/usb/drivers/usb-storage/unbind" undo=driver_on ;;
	turned-away) what="echo 0 >$usb/authorized" undo=authorise ;;
	# Harmless to the card; but the tool may doubt that it is the same.
	reset) what="usb_reset $usb" wanted="0 1 2 3 4" words= ;;
	esac
	case $command,$event in
	# To a cut it is what it waits for.
	cut-*,ejected | cut-*,un* | cut-*,turned-away | cut-*,resized) wanted="0 2 3" words= ;;
	esac
}
run_at() {
	rm -f $work/log $disk/k.assay $disk/k.assay.kept
	status=0
	(
		export MISHAP_NTH="$at" MISHAP_DO="$what" MISHAP_LOG=$work/log MISHAP_HASTE=1 LD_PRELOAD=/rig/mishap.so
		command_line
	) >$out 2>$err </dev/null || status=$?
}
right_card() {
	# What was unplugged goes a moment later.
	[ "$undo" = : ] || wait_for 60 test ! -e "/sys/block/${gadget#/dev/}" || broken "it does not go away"
	$undo
	echo 1 >$lun/forced_eject
	echo $work/card.img >$lun/file
	echo 0 >"/sys/block/${gadget#/dev/}/events_poll_msecs"
	wait_for 60 dd if="$gadget" of=/dev/null bs=4096 count=1 || broken "the right card cannot be read"
}
# At most one request: the longest is 128 KiB.
others_are_whole() {
	for other in same larger; do
		strays=$(cmp -l $other.img $other.now | wc -l)
		[ "$strays" -le 131072 ] || broken "$strays bytes of the $other card were written"
		[ "$strays" = 0 ] || { slipped=$((slipped + 1)); cp $other.img $other.now; }
	done
}
own_is_back() {
	cmp -s own.img card.img && return
	saved=$disk/k.assay.kept
	[ $command != restore ] || saved=$disk/old.kept
	[ -s $saved ] || broken "the card's data is lost"
	[ $status != 0 ] || [ $command = cut-kept ] || broken "exit status 0, and the data is not back"
	blkassay restore $saved "$gadget" >>$out 2>>$err || broken "restore fails"
	cmp -s own.img card.img || broken "the data is not back after restore"
	restored=$((restored + 1))
}

commands="verify-kept audit-kept sweep-kept cut-kept restore verify-erase sweep-erase cut-erase"
events="swapped ejected swapped-polled unplugged turned-away resized unbound reset"
for command in $commands; do for event in $events; do echo "$command $event"; done; done |
	awk -v s="$seed" 'BEGIN { srand(s) } { print rand() "\t" $0 }' | sort -n | cut -f 2 >pairs
note "moments $range of seed $seed"
moment=$((${range%-*} - 1)) slipped=0 restored=0 missed=0 ended=
while [ $moment -lt ${range#*-} ]; do
	[ $((moment % 10)) != 0 ] || [ -z "$ended" ] || note "moments to $moment are over"
	moment=$((moment + 1)) at=0
	set -- $(sed -n "$(((moment - 1) % $(wc -l <pairs) + 1))p" pairs)
	command=$1 event=$2
	usb_of "$gadget"
	cp own.img card.img
	undo=:
	right_card
	if [ $command = restore ]; then
		rm -f $disk/old.*
		blkassay cut "$gadget" --keep-data --region 0+256Ki --seconds 0.3 --out $disk/old.assay >$out 2>$err || broken "cut fails"
		mv $disk/old.assay.kept $disk/old.kept
	fi
	mishap
	all=$(requests)
	[ $((moment % 2)) = 0 ] && at=$(number $moment "$all") || at=$(number $moment $((all < 24 ? all : 24)))
	run_at
	until grep -q fired log; do
		at=$((at / 2))
		[ $at -ge 1 ] || { missed=$((missed + 1)); continue 2; }
		cp own.img card.img
		undo=:
		right_card
		mishap
		run_at
	done
	for one in $wanted never; do [ "$status" != "$one" ] || break; done
	[ "$one" != never ] || broken "exit status $status, not $wanted"
	[ -z "$words" ] || grep -qE "$words" $err || broken "nothing says '$words'"
	others_are_whole
	right_card
	case $command in *-kept | restore) own_is_back ;; esac
	ended="$ended $status"
done
note "moments $range of seed $seed: $slipped with one request that slipped through, $restored restored afterwards, $missed not met"
note "exit statuses:$ended"
rm -f $disk/k.assay* $disk/old.*
