#!/usr/bin/env bash
# The way of a mail through real programs: postfix as a relay that wants STARTTLS
# and a password, another postfix with rspamd and dovecot as the member's
# provider, and a name server with the records that `check --dns` prints. rspamd
# judges every kind of mail; a mailbox that is not there bounces back.
#
# Debian, as root. Figures: proof-out/mail.txt
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/proof.sh

.ci/container-images.sh debian
CGO_ENABLED=0 make -s build
work=$(mktemp -d /var/tmp/coldseam-mail.XXXXXX)
net=${work##*/}
finish() {
	local status=$?
	[ "$status" = 0 ] || { tail -n 5 "$work/serve.log"; podman logs --tail 20 "$net-relay"; podman logs --tail 20 "$net-mx"; } 2>&1 | cut -c1-300 || true
	remove "$net-dns" "$net-relay" "$net-mx" "$net-club"
	podman network rm -f "$net" >/dev/null || true
	rm -rf "$work"
}
trap finish EXIT
begin mail

mkdir "$work/image"
cat >"$work/image/Containerfile" <<'END'
FROM debian:bookworm-slim
RUN apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
    postfix dovecot-imapd dovecot-lmtpd rspamd dnsmasq ca-certificates postgresql-15 >/dev/null
RUN postconf -e maillog_file=/dev/stdout inet_interfaces=all && postconf -F '*/*/chroot = n'
END
podman image exists coldseam-mail || buildah bud -q --isolation chroot --network host -t coldseam-mail "$work/image" >/dev/null
note "images built"

# Addresses that are set apart for documentation: rspamd judges them like any other.
subnet=198.51.100
podman network create --disable-dns --subnet "$subnet.0/24" "$net" >/dev/null
machine() { # NAME HOST OPTION... -- COMMAND...
	local name=$1 host=$2
	shift 2
	podman run -d --name "$net-$name" --network "$net" --ip "$subnet.$host" --dns "$subnet.53" "$@" >/dev/null
}

openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj '/CN=river.example.org' -addext 'subjectAltName=DNS:river.example.org' \
	-keyout "$work/relay.key" -out "$work/relay.pem" 2>/dev/null
mkdir -m 777 "$work/state"
install -m 600 /dev/null "$work/password"
echo secret-of-the-relay >"$work/password"
sed -e 's|^smtp = .*|smtp = "river.example.org:587"|' -e 's|^#user = .*|user = "coldseam"|' -e 's|^#password_file.*|password_file = "/srv/password"|' \
	-e 's|^#lmtp = .*|lmtp = "0.0.0.0:2424"|' -e "s|^public_url = .*|public_url = \"http://pages.river.example.org:8080\"|" \
	-e 's|^listen = .*|listen = "0.0.0.0:8080"|' deploy/coldseam.toml >"$work/coldseam.toml"
silent_reach >>"$work/coldseam.toml"
machine club 10 -v "$PWD/bin/coldseam:/usr/local/bin/coldseam:ro" -v "$work:/srv" -v "$work/state:/var/lib/coldseam" \
	-v /usr/share/zoneinfo:/usr/share/zoneinfo:ro \
	-e COLDSEAM_CONFIG=/srv/coldseam.toml -e SSL_CERT_FILE=/srv/relay.pem coldseam-mail sleep infinity
program() { timeout 120 podman exec "$net-club" coldseam "$@"; }

cat >"$work/relay.sh" <<'END'
postconf -e myhostname=river.example.org mydestination=localhost relay_domains=bounce.river.example.org \
	smtpd_tls_cert_file=/srv/relay.pem smtpd_tls_key_file=/srv/relay.key smtp_tls_security_level=may \
	'transport_maps=inline:{bounce.river.example.org=lmtp:[198.51.100.10]:2424}' smtpd_sasl_type=dovecot smtpd_sasl_path=private/auth
postconf -M 'submission/inet=submission inet n - n - - smtpd'
postconf -P submission/inet/smtpd_tls_security_level=encrypt submission/inet/smtpd_sasl_auth_enable=yes \
	submission/inet/smtpd_relay_restrictions=permit_sasl_authenticated,reject
echo "coldseam:{PLAIN}$(cat /srv/password)" >/etc/dovecot/users
cat >/etc/dovecot/dovecot.conf <<CONF
protocols =
log_path = /dev/stderr
passdb {
  driver = passwd-file
  args = /etc/dovecot/users
}
userdb {
  driver = static
  args = uid=postfix gid=postfix
}
service auth {
  unix_listener /var/spool/postfix/private/auth {
    mode = 0666
  }
}
CONF
dovecot
exec postfix start-fg
END
cat >"$work/mx.sh" <<'END'
postconf -e myhostname=mx.home.example mydestination= virtual_mailbox_domains=home.example \
	'virtual_mailbox_maps=inline:{keeper@home.example=1,second@home.example=1}' virtual_transport=lmtp:unix:private/dovecot-lmtp \
	smtpd_milters=inet:127.0.0.1:11332 smtpd_relay_restrictions=reject_unauth_destination
cat >/etc/dovecot/dovecot.conf <<CONF
protocols = imap lmtp
log_path = /dev/stderr
ssl = no
first_valid_uid = 1
mail_location = maildir:/var/mail/%n
auth_username_format = %n
passdb {
  driver = static
  args = password=mailbox
}
userdb {
  driver = static
  args = uid=mail gid=mail home=/var/mail/%n
}
service lmtp {
  unix_listener /var/spool/postfix/private/dovecot-lmtp {
    mode = 0666
  }
}
CONF
chown mail:mail /var/mail
cat >/etc/rspamd/local.d/options.inc <<CONF
local_addrs = ["127.0.0.0/8"];
dns { nameserver = ["198.51.100.53"]; }
disable_hyperscan = true;
url_tld = "/etc/rspamd/suffixes";
CONF
printf '%s\n' org example >/etc/rspamd/suffixes # those in use here: the whole list takes minutes to compile
echo 'extended_spam_headers = true; skip_local = false; use = ["authentication-results", "x-spamd-result"];' >/etc/rspamd/local.d/milter_headers.conf
echo 'enabled = false;' >/etc/rspamd/local.d/greylist.conf
mkdir -p /run/rspamd && chown _rspamd /run/rspamd
rspamd -u _rspamd -g _rspamd
dovecot
exec postfix start-fg
END
machine relay 25 -v "$work:/srv:ro" coldseam-mail bash /srv/relay.sh
machine mx 26 -v "$work:/srv:ro" coldseam-mail bash /srv/mx.sh
podman exec -d "$net-club" sh -c 'coldseam serve >/srv/serve.log 2>&1' >/dev/null
answers() { program check --live; }
within 240 "the program serves" answers
# The club's zone as the program prints it, and what an admin adds: where mail leaves.
records() {
	awk -v relay="$subnet.25" '
		/ IN MX /  { print "mx-host=" $1 "," $5 "," $4 }
		/ IN TXT / { name = $1; sub(/^[^"]*"/, "\""); gsub(/" "/, "\",\""); print "txt-record=" name "," $0 }' | sed 's/\.,/,/g; s/\.$//'
	cat <<-END
		address=/river.example.org/$subnet.25
		address=/pages.river.example.org/$subnet.10
		ptr-record=25.100.51.198.in-addr.arpa,river.example.org
		txt-record=river.example.org,"v=spf1 a -all"
		mx-host=home.example,mx.home.example,10
		address=/mx.home.example/$subnet.26
		local=/#/
		no-resolv
		no-hosts
	END
}
program check --dns >"$work/zone" || true
records <"$work/zone" >"$work/dnsmasq.conf"
machine dns 53 -v "$work/dnsmasq.conf:/etc/dnsmasq.conf:ro" coldseam-mail dnsmasq -k -u root

program check >"$work/check" 2>&1 || true
note "check: $(grep -E '^[a-z]+ +smtp ' "$work/check" | tr -s ' ')"

# A member comes by the page's way, another one by hand, and one whose mailbox is not there.
mailbox() { podman exec "$net-mx" sh -c "cat /var/mail/$1/new/* /var/mail/$1/cur/* 2>/dev/null; true"; }
holds() { mailbox "$1" | grep -qE "$2"; }
program subscriber add keeper@home.example >"$work/log"
within 90 "confirm mail in the mailbox" holds keeper '^Subject: .*[Cc]onfirm'
link=$(mailbox keeper | tr -d '\r' | sed -e ':a;/=$/{N;s/=\n//;ba}' -e 's/=3D/=/g' | grep -m 1 -oE 'http://pages[^ "<>]*/confirm/[^ "<>]*')
curl -fsS -m 10 --resolve "pages.river.example.org:8080:$subnet.10" -X POST "$link" >"$work/log" || fail "the confirm link"
within 90 "welcome mail in the mailbox" holds keeper '^Subject: Your morning mail is set'
zone=$(noon_zone)
at=$(TZ=$zone date -d '2 minutes' +%H:%M)
for who in second nobody; do
	program subscriber add "$who@home.example" --confirmed --zone "$zone" --send-at "$at" >>"$work/log"
done
within 300 "morning mail in the mailbox" holds second '^Subject: .*NO CALL'
bounced() { program subscriber list | grep 'nobody@' | grep -q suppressed; }
within 120 "the bounce came back by LMTP and ends the mail to the member who is not there" bounced
program subscriber list | sed 's/^/        /' | cut -c1-110 | tee -a "$figures"

# What rspamd and the records said of each, and the symbols that cost points.
podman exec "$net-mx" sh -c 'cat /var/mail/*/new/* /var/mail/*/cur/* 2>/dev/null; true' | tr -d '\r' >"$work/all"
python3 - "$work/all" <<'END' | tee -a "$figures"
import re, sys
text = open(sys.argv[1], errors='replace').read()
bad = 0
for part in re.split(r'(?m)^Return-Path:', text)[1:]:
    head = re.sub(r'\n[ \t]+', ' ', part.split('\n\n', 1)[0])
    field = lambda n: (re.search(r'(?mi)^' + n + r': *(.*)', head) or [None, ''])[1]
    auth = field('Authentication-Results')
    said = {k: (re.search(k + r'=(\w+)', auth) or [None, '?'])[1] for k in ('dkim', 'spf', 'dmarc')}
    costs = [(n, float(p)) for n, p in re.findall(r'([A-Z][A-Z0-9_]+)\(([\d.-]+)\)', field('X-Spamd-Result')) if float(p) > 0]
    print('        %-40.40s %s %s' % (field('Subject'), ' '.join('%s=%s' % s for s in said.items()), costs))
    bad += any(v != 'pass' for v in said.values())
sys.exit(bad)
END
note "every mail passes DKIM, SPF and DMARC"
