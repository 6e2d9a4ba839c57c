# Adds up the rows of the gauntlet by class: GAUNTLET|class|scenario|dangerous
# moments|GO|TOSS-UP, STAY or GO|named limit, and COST|rule|river|mornings|stops.
BEGIN { FS = "|" }
{ sub(/^.*(GAUNTLET|COST)\|/, (index($0, "GAUNTLET|") ? "GAUNTLET|" : "COST|")) }
/^GAUNTLET\|/ {
	if (!($2 in n)) order[++classes] = $2
	n[$2]++; danger[$2] += $4
	if ($7 == "-") { goes[$2] += $5; words[$2] += $6 }
	else { if (!($7 in known)) limits[++kinds] = $7; known[$7]++; knownGo[$7] += $5; knownDanger[$7] += $4 }
}
/^COST\|/ { costs[++rules] = sprintf("%-26s %-14s %8s %8s", $2, $3, $4, $5) }
END {
	printf "%-14s %9s %8s %9s %12s\n", "class", "scenarios", "danger", "false GO", "other words"
	for (i = 1; i <= classes; i++) {
		c = order[i]
		printf "%-14s %9d %8d %9d %12d\n", c, n[c], danger[c], goes[c], words[c] - goes[c]
		N += n[c]; D += danger[c]; G += goes[c]; W += words[c] - goes[c]
	}
	printf "%-14s %9d %8d %9d %12d\n", "all", N, D, G, W
	printf "\n%-60s %9s %8s %9s\n", "named limits, not in the counts above", "scenarios", "danger", "GO"
	for (i = 1; i <= kinds; i++) printf "%-60s %9d %8d %9d\n", limits[i], known[limits[i]], knownDanger[limits[i]], knownGo[limits[i]]
	printf "\n%-26s %-14s %8s %8s\n", "clean mornings without a word", "river", "a season", "stops"
	for (i = 1; i <= rules; i++) print costs[i]
}
