# A mail relay for docker-compose.yml. It takes mail from the compose network
# alone, keeps what it could not deliver yet in its queue, and logs to the
# container's log.
FROM debian:bookworm-slim
RUN apt-get update \
 && DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends postfix ca-certificates \
 && rm -rf /var/lib/apt/lists/*
# Debian runs the parts of postfix in a chroot that its init script fills with the
# resolver's files; without that script no name would be found.
RUN postconf -e maillog_file=/dev/stdout inet_interfaces=all mynetworks_style=subnet \
    smtp_tls_security_level=may 'mydestination=$myhostname, localhost' \
 && postconf -F '*/*/chroot = n'
ENV RELAY_HOSTNAME=mail.example.org
VOLUME /var/spool/postfix
CMD ["sh", "-c", "postconf -e \"myhostname=$RELAY_HOSTNAME\" && exec postfix start-fg"]
