# Written by the test of the command tree: go test ./cmd/coldseam -run TestGoldenManPage -update
_coldseam() {
	local at='' i words='' word=${COMP_WORDS[COMP_CWORD]}
	for ((i = 1; i < COMP_CWORD; i++)); do
		case "$at ${COMP_WORDS[i]}" in
		' init' | \
			' parse' | \
			' brief' | \
			' preview' | \
			' import' | \
			' hindcast' | \
			' rig' | \
			' rig show' | \
			' rig log' | \
			' runclock' | \
			' serve' | \
			' site' | \
			' site add' | \
			' site list' | \
			' site edits' | \
			' reach' | \
			' reach limit' | \
			' reach limit show' | \
			' reach limit confirm' | \
			' reach ice' | \
			' reading' | \
			' reading confirm' | \
			' check' | \
			' fetch' | \
			' migrate' | \
			' backup' | \
			' restore' | \
			' subscriber' | \
			' subscriber add' | \
			' subscriber list' | \
			' subscriber show' | \
			' subscriber suppress' | \
			' subscriber unsuppress' | \
			' subscriber forget' | \
			' subscriber export' | \
			' subscriber import' | \
			' handover' | \
			' season' | \
			' verify' | \
			' recap' | \
			' demo')
			at="$at ${COMP_WORDS[i]}" ;;
		esac
	done
	case "$at" in
	'') words='init parse brief preview import hindcast rig runclock serve site reach reading check fetch migrate backup restore subscriber handover season verify recap demo --help --config' ;;
	' init') words='--help --config --club --domain --zone' ;;
	' parse') words='--help --config --json --profile --site --parameter --unit --zone' ;;
	' brief') words='--help --config --as-of --site --reach --units --why --json --dry-run --save --mail --hold --release --reason' ;;
	' preview') words='--help --config --for --dir' ;;
	' import') words='--help --config --site --name --zone --lat --lon --profile --map --unit --open-end --dry-run --trips --rating --since --zero' ;;
	' hindcast') words='--help --config --csv --site --quantity --air --pool --upstream --symbols --folds --expanding --seed --lat --json --members --plot --issued --no-dates' ;;
	' rig') words='show log --help --config' ;;
	' rig show') words='--help --config --body --line --metal --presentation --depth-ft --depth-m --surface-fps --surface-ms --water-c --water-f --flow-cfs --flow-m3s --bed --snags --box --floor --max --site --spot --units --json --table --chart' ;;
	' rig log') words='--help --config --body --line --metal --presentation --site --spot --size --result --at --angle-deg --angler' ;;
	' runclock') words='--help --config --csv --counts --lat --species --year --noise --seed --species-file --json' ;;
	' serve') words='--help --config' ;;
	' site') words='add list edits --help --config' ;;
	' site add') words='--help --config --lat --lon --profile --code --river --name --id --counter --zone --radius-km --years --no-replay --dry-run' ;;
	' site list') words='--help --config' ;;
	' site edits') words='--help --config --reach' ;;
	' reach') words='limit ice --help --config' ;;
	' reach limit') words='show confirm --help --config' ;;
	' reach limit show') words='--help --config' ;;
	' reach limit confirm') words='--help --config --craft --max-flow-cfs --why --who' ;;
	' reach ice') words='--help --config --why' ;;
	' reading') words='confirm --help --config' ;;
	' reading confirm') words='--help --config --parameter --from --to --why --who' ;;
	' check') words='--help --config --json --dns --live --reconcile --mail-log --contract --profile --record --offline' ;;
	' fetch') words='--help --config --feed --from --instant-days --again --replay' ;;
	' migrate') words='--help --config --no-backup --readers-sql' ;;
	' backup') words='--help --config --dir --verify --keep' ;;
	' restore') words='--help --config --files-to --files --files-only --database --state-dir --drill' ;;
	' subscriber') words='add list show suppress unsuppress forget export import --help --config' ;;
	' subscriber add') words='--help --config --name --reach --units --zone --send-at --confirmed' ;;
	' subscriber list') words='--help --config --state' ;;
	' subscriber show') words='--help --config' ;;
	' subscriber suppress') words='--help --config --reason' ;;
	' subscriber unsuppress') words='--help --config --since' ;;
	' subscriber forget') words='--help --config --yes' ;;
	' subscriber export') words='--help --config --all' ;;
	' subscriber import') words='--help --config --confirmed --dry-run' ;;
	' handover') words='--help --config --out' ;;
	' season') words='--help --config --csv --lat --lon --reach --from --to --years --send-at --air --leave-out --days --json --html --compare --trips --counts --units --quiet' ;;
	' verify') words='--help --config --head --days' ;;
	' recap') words='--help --config --season --reach --out --sql --dictionary --run --export' ;;
	' demo') words='--help --config --once --dir --log' ;;
	esac
	mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word")
}
complete -o default -F _coldseam coldseam
