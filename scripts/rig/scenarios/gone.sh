# The drive goes away in the middle of a verify that only reads, in every way there is: exit 3, not a block counted as
# damage, what was judged before stays, and once it is back the run goes on and ends clean. While it is written: the right
# words. Then through the kernel's media poll, with another card of another size, and reset in mid-run.
# Time limit: 900 s
truncate -s 4M card.img
head -c 8388608 /dev/zero | tr '\0' '\252' >larger.img
gadget_plug $work/card.img
token "$gadget"
run 0 blkassay verify "$gadget" --erase "$token" --region 0+512Ki --only write --sizes 64Ki --seed 11 --out write.assay

gone() { # WORDS: what the run must have said and left
	finish 3
	says "$1"
	says_not "are damaged:"
	says_not "No space left"
	says_not "smaller than it says"
	note "$(grep '^blkassay: ' $err | cut -c1-150)"
	run 0 blkassay report "$2"
	says_not "are damaged:"
	says_not "unreadable"
	says "$1"
	grep -q ' end .*status=failed' "$2" || fail "the record does not say how the run ended"
}
reading() { # NAME
	start blkassay verify "$gadget" --region 0+512Ki --only read --sizes 512 --seed 11 --out "$1.assay"
	moved "$gadget" 100
}
resumed() {
	run 0 blkassay verify "$gadget" --resume "$1.assay"
	says "All 1024 blocks of 512 B"
}
for way in unplugged deauthorised let_go ejected; do
	reading $way
	case $way in
	unplugged) gadget_unplug ;;
	deauthorised) deauthorise "$gadget" ;;
	let_go) driver_off "$gadget" ;;
	ejected) gadget_swap "" ;;
	esac
	gone "is gone" $way.assay
	case $way in
	unplugged) gadget_replug ;;
	deauthorised) authorise ;;
	let_go) driver_on ;;
	ejected) gadget_swap $work/card.img ;;
	esac
	resumed $way
done

# Another card, of another size, while it reads: not its blocks are judged.
reading other
gadget_swap $work/larger.img
finish 3
says_not "are damaged:"
note "$(grep '^blkassay: ' $err | cut -c1-150)"
gadget_swap $work/card.img
resumed other

# Written to when it goes.
start blkassay sweep "$gadget" --erase "$token" --direction write --sizes 64Ki --seconds 1 --passes 40 --out sweep.assay
moved "$gadget" 100
gadget_unplug
gone "is gone" sweep.assay
gadget_replug
