# Who runs these tests tells one that fails from one that passes, and from one that could not run.
. "$(dirname "$0")/lib.sh"
for ended in 0 1 77 3; do
	echo "echo why; exit $ended" >"$tmp/one.sh"
	case $ended in 0) word=pass ;; 77) word=SKIPPED ;; *) word=FAILED ;; esac
	run 0 sh "$here/../run-cli" --one "$tmp/one.sh" "$tmp/one"
	grep -q "^$word  *one" "$out" || fail "a test that ended with $ended is not told as $word"
done
