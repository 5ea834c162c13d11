# Rates on a bus that really schedules 1 ms frames: below the ceiling, growing with the request, link recognised, and
# requests above the kernel's limit split, seen in the device's own count.
stick
run 0 blkassay sweep "$stick" --sizes 512,4Ki,64Ki,256Ki --order sequential --seconds 0.4 --passes 3 --seed 7 \
	--label "stick at full speed" --out stick.run
run 0 blkassay report stick.run --csv stick.csv
run 0 blkassay report stick.run

# Median of a column over the passes of one request size.
median() { awk -F, -v size="$1" -v name="$2" '
	NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
	$at["request_bytes"] == size { print $at[name] }' stick.csv | sort -n | sed -n 2p; }

for size in 512 4096 65536 262144; do
	rate=$(median $size rate_ack_bps)
	note "$size B: $rate B/s"
	# USB 2.0 table 5-9: 19 bulk packets of 64 bytes in a frame, 1000 frames in a second.
	# The emulated bus makes up for late frames, so a short pass may see a little more.
	between "rate at $size" "$rate" 1 1240000
	eval "rate_$size=$rate"
done
# Three phases (command, data, status) at one frame each at least, common practice, no source: 512 B in 3 to 5 ms.
between "rate at 512" "$rate_512" 60000 180000
between "rate at 4096 against 512" "$(awk "BEGIN { print $rate_4096 / $rate_512 }")" 2 8
between "rate at 65536" "$rate_65536" 700000 1240000

limit=$(($(cat /sys/block/${stick#/dev/}/queue/max_sectors_kb) * 1024))
is "the kernel's request limit" "$limit" 122880
requests=$(median 262144 requests)
# 256 KiB in pieces of at most 120 KiB: three of them.
is "device requests for $requests requests of 256 KiB" "$(median 262144 device_requests)" $((requests * 3))
is "device requests of 4 KiB" "$(median 4096 device_requests)" "$(median 4096 requests)"
grep -q ',split' stick.csv || grep -q split stick.csv || fail "no pass is flagged as split"
grep -q "link=12000000\|link_bits_per_second=12000000" stick.run || fail "the record does not know the link: $(grep ' target ' stick.run)"
