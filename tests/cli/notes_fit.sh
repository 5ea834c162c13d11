# Notes and warnings on a terminal are no wider than it, commands among them can still be pasted, and errors stay one line;
# in a pipe each stays one line.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
cat >narrow.py <<'END_OF_PROGRAM'
# narrow.py COLUMNS COMMAND...: its stderr is a terminal of that width; what came there goes to stderr, as it stood on the screen.
import fcntl, os, pty, re, struct, subprocess, sys, termios
ours, theirs = pty.openpty()
fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, int(sys.argv[1]), 0, 0))
child = subprocess.Popen(sys.argv[2:], stdin=subprocess.DEVNULL, stderr=theirs)
os.close(theirs)
seen = b""
while True:
    try:
        more = os.read(ours, 4096)
    except OSError:
        break
    if not more:
        break
    seen += more
lines = seen.decode().replace("\r\n", "\n").split("\n")
sys.stderr.write("\n".join(re.split("\r", line)[-1].replace("\033[K", "") for line in lines))
sys.exit(child.wait())
END_OF_PROGRAM
noted() { tr -s ' \n' '  ' <"$err" | grep -qF -e "$1" || fail "nothing notes '$1'"; }
on_one_line() { grep -qF -e "$1" "$err" || fail "not on one line: '$1'"; }
# The command in $err below the line that ends in "$1", given to a shell: what it names is what is there.
pasted() {
	awk -v after="$1" 'found && /^    / { print; next } { found = substr($0, length($0) - length(after) + 1) == after }' "$err" >command
	[ -s command ] || fail "no command below '$1'"
	(blkassay() { printf '%s\n' "$@" >words; }; . ./command)
	[ "$(cat words)" = "$(printf '%s\n' restore "$2" "$3")" ] || fail "pasted, it reads $(cat words)"
}
image="a card $unique.img"
head -c 4M /dev/urandom >"$image"
twice="It is read twice, which takes twice the time of reading it, before anything is written."
saves="1 MiB from byte 0 will be used for the test. What is there is saved first, in"
back="then put the region's own data back:"
kept() { # RECORD WRAPPER...: a run that says much: keeps data, warns, and leaves it to be put back
	record=$1
	shift
	run 0 "$@" "$BLKASSAY" cut "$image" --keep-data --region 0+1Mi --seconds 0.1 --out "$record"
	noted "$saves '$record.kept', and put back at the end. $twice"
	noted "has no plug to pull, so this run can test no promise; cut a device, or a model"
	pasted "$back" "$record.kept" "$image"
}

kept piped.assay env COLUMNS=60
on_one_line "put back at the end. $twice"
on_one_line "    blkassay restore 'piped.assay.kept' '$image'"
for width in 80 60 40; do
	kept "w$width.assay" env -u COLUMNS TERM=xterm python3 narrow.py $width
	fits $width "$err"
	grep -qF "$twice" "$err" && fail "not wrapped"
	run 2 env -u COLUMNS python3 narrow.py $width "$BLKASSAY" sweep "$image" --direction write --out "w$width.assay"
	[ "$(grep -c . "$err")" = 1 ] || fail "an error is more than one line"
done
# COLUMNS is what the user prefers, whatever the terminal has.
kept preferred.assay env COLUMNS=50 TERM=dumb python3 narrow.py 120
fits 50 "$err"

# What standard output shows to a terminal is folded too, commands as well.
run 0 env COLUMNS=60 LC_ALL=C "$BLKASSAY" report w60.assay
grep -qF "    blkassay restore '$(readlink -f w60.assay).kept' '$(readlink -f "$image")'" "$out" || fail "no command on one line"
run 0 env -u COLUMNS LC_ALL=C NO_COLOR=1 python3 -c 'import fcntl, os, pty, struct, subprocess, sys, termios
ours, theirs = pty.openpty()
fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 60, 0, 0))
child = subprocess.Popen(sys.argv[1:], stdin=subprocess.DEVNULL, stdout=theirs)
os.close(theirs)
try:
    while True: sys.stderr.write(os.read(ours, 65536).decode().replace("\r", ""))
except OSError: pass
sys.exit(child.wait())' "$BLKASSAY" report w60.assay
fits 60 "$err"
grep -q '^    blkassay restore \\$' "$err" || fail "the command is not folded"
# So is the command that made the run.
awk 'found && /^              / { print; next } { found = sub(/^  command   /, ""); if (found) print }' "$err" >command
(blkassay() { printf '%s\n' "$@" >words; }; . ./command)
[ "$(cat words)" = "$(printf '%s\n' cut "$image" --keep-data --region 0+1Mi --seconds 0.1 --out w60.assay)" ] ||
	fail "pasted, the command of the run reads $(cat words)"
