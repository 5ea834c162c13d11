# Who runs these tests tells one that fails from one that passes, and from one that could not run.
. "$(dirname "$0")/lib.sh"
for ended in 0 1 77 3; do
	echo "echo why; exit $ended" >"$tmp/one.sh"
	case $ended in 0) word=pass ;; 77) word=SKIPPED ;; *) word=FAILED ;; esac
	run 0 sh "$here/../run-cli" --one "$tmp/one.sh" "$tmp/one"
	grep -q "^$word  *one" "$out" || fail "a test that ended with $ended is not told as $word"
done

# So does who runs the unit tests; a suite without a check, as one of another name has, did not pass.
for said in '0 Checks:_3,' '1 Checks:_3,' '0 Checks:_0,'; do
	printf '#!/bin/sh\necho "100%%: %s Failures: 0, Errors: 0"\nexit %s\n' "$(echo "${said#* }" | tr _ ' ')" "${said% *}" >"$tmp/runner"
	chmod +x "$tmp/runner"
	case $said in '0 Checks:_3,') wanted=0 ;; *) wanted=1 ;; esac
	run $wanted "$here/../run-unit" "$tmp/runner" one two
	says "2 suites, "
done
