"""A mail server of aiosmtpd's for the tests: STARTTLS on one port, TLS from the first byte on another, a login, and misconduct by request.

    mailserver.py FOLDER STARTTLS_PORT TLS_PORT CERTIFICATE KEY USER PASSWORD

What arrives lies in FOLDER/N.json, its whole text and what Python's own parser reads in it. FOLDER/orders, if there, tells what to do otherwise:
{"rcpt": {"ADDRESS": "550 no"}, "data": "451 later", "wait": SECONDS}.
"""

import asyncio
import email
import email.policy
import json
import os
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult

folder, starttls_port, tls_port, certificate, key, user, password = sys.argv[1:]


def orders():
    try:
        with open(os.path.join(folder, "orders"), encoding="utf-8") as f:
            return json.load(f)
    except FileNotFoundError:
        return {}


def login(server, session, envelope, mechanism, data):
    right = (data.login, data.password) == (user.encode(), password.encode())
    return AuthResult(success=right, handled=False)


class Handler:
    taken = 0

    async def handle_RCPT(self, server, session, envelope, address, options):
        refusal = orders().get("rcpt", {}).get(address)
        if refusal:
            return refusal
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        told = orders()
        await asyncio.sleep(told.get("wait", 0))
        if "data" in told:
            return told["data"]
        parsed = email.message_from_bytes(envelope.content, policy=email.policy.default)
        mail = {
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "encrypted": server.transport.get_extra_info("ssl_object") is not None,
            "headers": {name.lower(): str(value) for name, value in parsed.items()},
            "type": parsed.get_content_type(),
            "body": parsed.get_content(),
            "defects": [str(d) for d in parsed.defects],
            "text": envelope.content.decode("ascii"),
        }
        Handler.taken += 1
        path = os.path.join(folder, f"{os.getpid()}-{Handler.taken}.json")
        with open(path + ".new", "w", encoding="utf-8") as f:
            json.dump(mail, f)
        os.rename(path + ".new", path)
        return "250 OK"


async def main():
    tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    tls.load_cert_chain(certificate, key)
    loop, common = asyncio.get_running_loop(), {"authenticator": login, "auth_required": True, "hostname": "mail.example.org"}
    await loop.create_server(lambda: SMTP(Handler(), tls_context=tls, require_starttls=True, **common), "127.0.0.1", int(starttls_port))
    await loop.create_server(lambda: SMTP(Handler(), auth_require_tls=False, **common), "127.0.0.1", int(tls_port), ssl=tls)
    await asyncio.Event().wait()


asyncio.run(main())
