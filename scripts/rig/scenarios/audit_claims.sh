# The first lines of the audit, what the device claims and what the kernel made of it, against what the kernel logged when
# the drive was attached: name, revision, blocks, cache, FUA, write protection, removable mark. Then the cache's setting is
# changed, in the device and in the kernel's view alone, and the audit must tell these two apart.

# audit_claims DEVICE NAME: the findings in NAME.assay, one a line, in plain words in NAME.txt.
audit_claims() {
	token "$1"
	rm -f "$2.assay"
	start blkassay audit "$1" --erase "$token" --seed 5 --out "$2.assay" --region 0+256Ki --quiet
	wait_for 120 grep -q ' promise id=kernel-view ' "$2.assay" || fail "no claims of $1 in two minutes"
	kill -INT $child
	finish 130
	grep -q ' end .*exit_status=130' "$2.assay" || fail "the record does not say that it was stopped"
	sed -n 's/.* promise \(id=.*\)/\1/p' "$2.assay" | sed "s/%20/ /g; s/%27/'/g" >"$2.txt"
}
claim() { grep "^id=$1 .*verdict=$2 " "$audited.txt" | grep -qF -e "$3" || fail "$1 is not '$2' with '$3': $(grep "^id=$1 " "$audited.txt")"; }

# logged DEVICE PATTERN: what the kernel said of it last, only the part that matches.
logged() { dmesg | grep -F "[${1#/dev/}]" | sed -n "s/.*\] $2.*/\1/p" | tail -n 1; }
# The SCSI line has no name of the disk: by its address (host:channel:id:lun).
logged_inquiry() {
	address=$(basename "$(readlink -f "/sys/block/${1#/dev/}/device")")
	dmesg | sed -n "s/.*scsi $address: Direct-Access *\(.*\) PQ: .*/\1/p" | tail -n 1
}

# against_log DEVICE NAME: every claim against the log.
against_log() {
	audited=$2
	audit_claims "$1" "$2"
	inquiry=$(logged_inquiry "$1")
	vendor=${inquiry%% *}
	revision=${inquiry##* }
	product=$(echo "$inquiry" | awk '{ print $2 }')
	[ -n "$vendor" ] && [ -n "$product" ] && [ -n "$revision" ] || fail "the kernel did not log who $1 is: '$inquiry'"
	claim inquiry kept "'$vendor' '$product' revision '$revision'"
	case $(logged "$1" 'Attached SCSI \(.*\)') in
	*removable*) claim inquiry kept ", removable; the kernel lists it as removable" ;;
	disk) claim inquiry kept ", not removable; the kernel lists it as not removable" ;;
	*) fail "the kernel did not log that it attached $1" ;;
	esac
	blocks=$(logged "$1" '\([0-9]*\) 512-byte logical blocks')
	[ -n "$blocks" ] || fail "the kernel did not log the size of $1"
	claim capacity kept "$blocks blocks of 512 bytes; the kernel uses $((blocks * 512)) bytes"
	case $(logged "$1" 'Write cache: \([a-z]*\),') in
	enabled) device="write back" page="WCE 1" ;;
	disabled) device="write through" page="WCE 0" ;;
	*) fail "the kernel did not log the cache of $1" ;;
	esac
	case $(logged "$1" 'Write cache:.*read cache: [a-z]*, \(.*\)') in
	"supports DPO and FUA") dpofua=1 fua=yes ;;
	"doesn't support DPO or FUA") dpofua=0 fua=no ;;
	*) fail "the kernel did not log whether $1 knows FUA" ;;
	esac
	is "the log of write protection" "$(logged "$1" 'Write Protect is \(.*\)')" off
	claim cache-page kept "page 3Fh: $page; page 08h: $page; DPOFUA $dpofua, write protect 0"
	claim kernel-view kept "device: $device, FUA $fua; kernel: $device, FUA $fua"
	note "$1: $inquiry, $blocks blocks, $device, FUA $fua: as the kernel logged it"
}

truncate -s 1M card.img
gadget_plug $work/card.img
against_log "$gadget" gadget
gadget_remove
# Another gadget: not removable, another size.
truncate -s 3M card.img
gadget_plug $work/card.img removable=0
against_log "$gadget" fixed
gadget_remove
stick
against_log "$stick" stick
fast_stick
against_log "$stick" fast

# The cache switched off in the device (MODE SELECT): it claims write through, and the kernel follows.
cache_type=$(ls -d /sys/block/${stick#/dev/}/device/scsi_disk/*)/cache_type
echo "write through" >$cache_type || fail "the stick does not let its cache be switched off"
audited=off
audit_claims "$stick" off
claim cache-page kept "page 3Fh: WCE 0; page 08h: WCE 0"
claim kernel-view kept "device: write through, FUA yes; kernel: write through"
echo "write back" >$cache_type
# Switched off in the kernel's view alone: the host would send no flush to a device that has a cache.
echo "write through" >/sys/block/${stick#/dev/}/queue/write_cache
audited=hidden
audit_claims "$stick" hidden
claim kernel-view broken "device: write back, FUA yes; kernel: write through"
