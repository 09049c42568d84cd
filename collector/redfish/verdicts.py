"""What facts about the way to a controller mean, and what to do about it. Pure: facts and the time in, findings out."""

from __future__ import annotations

from datetime import UTC, datetime
from enum import StrEnum
from pathlib import PurePath

from msgspec import Struct

from collector.model import Seconds
from collector.redfish.facts import (
    Certificate,
    Connected,
    Handshake,
    Login,
    Resolved,
    Root,
    SessionEnd,
    Trust,
)
from collector.redfish.resources import ClockRead
from collector.redfish.service_clock import span
from collector.redfish.session import Way

EXPIRY_NOTICE_DAYS = 30.0
CLOCK_NOTE_SECONDS = 5.0
CLOCK_FAULT_SECONDS = 300.0
"""The acceptable skew that RFC 4120 section 8.2 recommends for another service that lives by clocks (from memory)."""
_DAY = 86_400.0


class Result(StrEnum):
    """How a step went; in order of urgency from the second on."""

    SKIPPED = "skipped"
    PASSED = "passed"
    NOTE = "to note"
    FAILED = "failed"


class Finding(Struct, frozen=True):
    """One thing found at a step, safe to show in one line."""

    result: Result
    told: str
    to_do: str = ""

    @property
    def line(self) -> str:
        """What was found and what to do about it."""
        return f"{self.told}; {self.to_do}" if self.to_do else self.told


Findings = tuple[Finding, ...]


def _passed(told: str) -> Finding:
    return Finding(Result.PASSED, told)


def _note(told: str, to_do: str) -> Finding:
    return Finding(Result.NOTE, told, to_do)


def _failed(told: str, to_do: str) -> Finding:
    return Finding(Result.FAILED, told, to_do)


def of_name(facts: Resolved) -> Findings:
    """Name resolution."""
    if facts.literal:
        return (_passed(f"{facts.host} is an address, nothing to resolve"),)
    if facts.timed_out:
        to_do = "check this machine's name servers, or give the address in the fleet file"
        return (_failed(f"no answer about {facts.host} within {facts.seconds:.0f} s", to_do),)
    if not facts.addresses:
        to_do = "check its spelling in the fleet file and that this machine's name servers know it"
        return (_failed(f"{facts.host}: {facts.error}", to_do),)
    return (_passed(f"{facts.host} is {', '.join(facts.addresses)}, {_ms(facts.seconds)}"),)


def of_connection(facts: Connected) -> Findings:
    """TCP."""
    tried = ", ".join(f"{address}: {reason}" for address, reason in facts.refused)
    if facts.address is not None:
        found = _passed(f"{facts.address} port {facts.port}, {_ms(facts.seconds)}")
        if not facts.refused:
            return (found,)
        to_do = "every new connection tries these first; have the name's address records corrected"
        return (found, _note(tried, to_do))
    if facts.timed_out:
        to_do = "check that the controller has power and network, and that no filter lies between"
        return (_failed(f"port {facts.port}, {tried}", to_do),)
    if "refused" in tried:
        to_do = "the machine is there; check that its Redfish service is switched on, and the port in the fleet file"
        return (_failed(f"port {facts.port}, {tried}", to_do),)
    to_do = "check that the controller has power and network, and that the fleet file has its right address"
    return (_failed(f"port {facts.port}, {tried}", to_do),)


# TLS


def of_tls(facts: Handshake, now: Seconds) -> Findings:
    """TLS: whether there is any, whom it leads to, and how long that will last."""
    if facts.trust is Trust.NO_TLS:
        to_do = "use https:// if the controller can"
        return (_note("plain http: whoever is on the way reads and changes everything", to_do),)
    found: list[Finding] = []
    if facts.ca_error:
        to_do = "put the authority's certificate in PEM form there"
        found.append(_failed(f"{_file(facts.ca_file)}: {facts.ca_error}", to_do))
    if facts.error:
        found.append(_failed(f"no TLS handshake: {facts.error}", _handshake_advice(facts)))
    if facts.verify_code:
        found.append(_distrusted(facts, now))
    shown = facts.certificate
    if shown is None:
        if not found:
            found.append(_failed("it presents no certificate", "have its TLS set-up corrected"))
        return tuple(found)
    if facts.trust is Trust.PIN and shown.fingerprint != facts.pinned:
        to_do = "if its certificate was renewed, pin the new one; if not, something else answers at this address"
        found.append(_failed(f"it presents {shown.fingerprint}, the fleet file pins {facts.pinned}", to_do))
    if not found:
        found.append(_passed(_trusted_by(facts)))
    if facts.trust is Trust.UNCHECKED:
        to_do = f'put fingerprint = "{shown.fingerprint}" in its place, once compared with the controller\'s own'
        found.append(_note("its certificate is not checked at all (insecure = true)", to_do))
    found += _dates(facts, shown, now)
    return tuple(found)


def _trusted_by(facts: Handshake) -> str:
    shown = facts.certificate
    assert shown is not None
    by = {
        Trust.PIN: "it is the pinned one",
        Trust.UNCHECKED: "unchecked",
        Trust.CA_FILE: f"vouched for by {_file(facts.ca_file)}",
        Trust.SYSTEM: "vouched for by this system's authorities",
    }[facts.trust]
    return f"{facts.protocol}, certificate of {_whose(shown)}: {by}; {shown.fingerprint}"


def _whose(shown: Certificate) -> str:
    if shown.unread:
        return f"unknown (it can't be read: {shown.unread})"
    return ", ".join(shown.names[:4]) + (", …" if len(shown.names) > 4 else "") or shown.subject or "nobody named"


def _dates(facts: Handshake, shown: Certificate, now: Seconds) -> list[Finding]:
    """Its dates, where the handshake has not failed over them already."""
    if shown.not_before is None or shown.not_after is None:
        return []
    matter = facts.trust in (Trust.SYSTEM, Trust.CA_FILE)
    if now > shown.not_after:
        if facts.verify_code == _EXPIRED:
            return []
        told = f"the certificate expired on {_day(shown.not_after)}"
        return [_failed(told, "renew it") if matter else _note(f"{told}, which is not checked here", "renew it")]
    if now < shown.not_before:
        if facts.verify_code == _NOT_YET:
            return []
        told = f"the certificate is valid from {_day(shown.not_before)} only"
        to_do = "check the date of this machine, then have the certificate made anew"
        return [_failed(told, to_do) if matter else _note(f"{told}, which is not checked here", to_do)]
    days = (shown.not_after - now) / _DAY
    if days > EXPIRY_NOTICE_DAYS:
        return [_passed(f"valid for {days:.0f} more days, until {_day(shown.not_after)}")]
    to_do = "renew it now" if facts.trust is not Trust.PIN else "renew it now, and pin the new one"
    return [_note(f"the certificate expires in {_days(days)}, on {_day(shown.not_after)}", to_do)]


_NOT_YET, _EXPIRED = 9, 10
_SELF_SIGNED, _UNKNOWN_ROOT = 18, 19
_NO_ISSUER = frozenset({2, 20, 21})
_WRONG_NAME = frozenset({62, 64})
_TOO_WEAK = frozenset({66, 67, 68})
"""X509_V_ERR_… of OpenSSL's x509_vfy.h: certificate not yet valid, has expired; depth zero self-signed, self-signed in
chain; unable to get an issuer, locally, or to verify the leaf; host name, IP address mismatch; key or digest weak."""


def _distrusted(facts: Handshake, now: Seconds) -> Finding:
    """Why the chain or the name was not taken."""
    shown = facts.certificate
    pin = f'fingerprint = "{shown.fingerprint}"' if shown is not None else "its fingerprint"
    known = facts.certificate is not None and not facts.certificate.unread
    code, trust = facts.verify_code, _file(facts.ca_file) if facts.ca_file else "this system's authorities"
    if code == _EXPIRED and shown is not None and known and shown.not_after is not None:
        if now > shown.not_after:
            days = (now - shown.not_after) / _DAY
            return _failed(f"its certificate expired {_days(days)} ago, on {_day(shown.not_after)}", "renew it")
        return _failed("an authority above its certificate has expired", f"renew that one, in {trust} too")
    if code == _NOT_YET and shown is not None and known and shown.not_before is not None and now < shown.not_before:
        told = f"its certificate is valid from {_day(shown.not_before)} only"
        return _failed(told, "check the date of this machine, then have the certificate made anew")
    if code in _WRONG_NAME:
        names = ", ".join(shown.names) if shown is not None and shown.names else "no name at all"
        to_do = "use a name that it stands for in the fleet file, or have the certificate made for this one"
        return _failed(f"its certificate is for {names}, not for {facts.host}", to_do)
    compared = "if that is what the controller's own console shows"
    if code == _SELF_SIGNED:
        return _failed("its certificate is self-signed, and no authority vouches for it", f"pin {pin}, {compared}")
    if code == _UNKNOWN_ROOT or code in _NO_ISSUER:
        issuer = f" ({shown.issuer})" if shown is not None and known else ""
        to_do = f"give the issuer's certificate as ca_file, or pin {pin}, {compared}"
        return _failed(f"the issuer of its certificate{issuer} is not among {trust}", to_do)
    if code in _TOO_WEAK:
        return _failed(f"its certificate is too weak: {facts.verify_message}", f"have it made anew, or pin {pin}")
    return _failed(f"its certificate is not trusted: {facts.verify_message}", f"have it corrected, or pin {pin}")


def _handshake_advice(facts: Handshake) -> str:
    if facts.timed_out:
        return "check whether the controller is overloaded or hung, and that it speaks TLS on this port"
    if facts.error in ("WRONG_VERSION_NUMBER", "HTTP_REQUEST", "RECORD_LAYER_FAILURE", "UNKNOWN_PROTOCOL"):
        return "what answers on this port does not speak TLS; check the port, or http:// in the fleet file"
    if facts.error in ("UNSUPPORTED_PROTOCOL", "TLSV1_ALERT_PROTOCOL_VERSION", "SSLV3_ALERT_HANDSHAKE_FAILURE"):
        return "it offers no version or cipher of TLS that is still safe; update its firmware"
    return "check that it speaks TLS on this port"


# Login, service root, clock


def of_login(facts: Login, end: SessionEnd | None) -> Findings:
    """Authentication, and whether the session was given back."""
    found: list[Finding] = []
    if facts.failure is not None:
        found.append(_failed(_at(facts.failure.resource, facts.failure.happened), facts.failure.to_do))
    elif facts.username is None:
        found.append(_passed("no credentials given, and none asked for"))
    elif facts.way is Way.SESSION:
        found.append(_passed(f"session as {facts.username}"))
    elif facts.session_status in _NO_SESSIONS_HERE:
        to_do = "nothing to do; it costs the service a password check a request"
        found.append(_note(f"basic authentication as {facts.username}: the service has no sessions", to_do))
    else:
        to_do = "end sessions that nobody uses on the controller, or let it have more"
        found.append(_note(f"its session table is full; basic authentication as {facts.username} instead", to_do))
    if facts.failure is None and facts.proof is None:
        to_do = "see the walk; whether the account may read is not proven"
        found.append(_note("nothing but the service root could be read", to_do))
    if end is not None:
        found.append(_ended(end))
    if facts.over_http:
        found.append(_note("the password goes over the wire in the clear", "use https:// if the controller can"))
    if facts.password_mode is not None:
        told = f"{facts.password_file} has mode {facts.password_mode:04o}: it is not for its owner alone"
        found.append(_note(told, "chmod 600 it, and change the password if somebody else may have read it"))
    return tuple(found)


_NO_SESSIONS_HERE = frozenset({404, 405, 410, 501})


def _ended(end: SessionEnd) -> Finding:
    status = end.deleted_status
    if status is not None and (status < 400 or status in (401, 404, 410)):  # the latter: gone already
        return _passed("session deleted again")
    if not end.sent:
        why = "it did not say where its session is"
    else:
        why = "no answer to its deletion" if status is None else f"its deletion was answered with {status}"
    return _note(f"the session stays until it times out: {why}", "look for unused sessions on the controller")


def of_root(facts: Root) -> Findings:
    """The service root."""
    if facts.failure is not None:
        return (_failed(_at(facts.failure.resource, facts.failure.happened), facts.failure.to_do),)
    who = " ".join(word for word in (facts.vendor, facts.product) if word)
    what = f"Redfish {facts.version}" if facts.version else "Redfish, no version told"
    features = ", ".join(facts.declares) or "no protocol feature"
    return (_passed(f"{what}, {who or 'no product told'}; declares {features}; {_ms(facts.seconds)}"),)


def of_clock(facts: ClockRead | None) -> Findings:
    """Its clock against ours."""
    if facts is None:
        to_do = "times of events and logs can't be compared with those of others"
        return (_note("the service tells its time nowhere", to_do),)
    off = max(0.0, abs(facts.offset) - facts.spread)
    way = "ahead of" if facts.offset > 0 else "behind"
    if off <= CLOCK_NOTE_SECONDS:
        return (_passed(f"within {abs(facts.offset) + facts.spread:.1f} s of ours ({facts.source})"),)
    told = f"{span(abs(facts.offset))} {way} ours ({facts.source})"
    to_do = "set its clock, best by NTP, after checking ours: times in its logs and events can't be put in order"
    return (_failed(told, to_do) if off > CLOCK_FAULT_SECONDS else _note(told, to_do),)


# Words


def _at(resource: str, happened: str) -> str:
    return f"{resource}: {happened}"


def _file(path: str | None) -> str:
    return PurePath(path).name if path is not None else "ca_file"


def _day(time: Seconds) -> str:
    try:
        return datetime.fromtimestamp(time, UTC).date().isoformat()
    except (ValueError, OverflowError, OSError):
        return "a date beyond reckoning"


def _days(days: float) -> str:
    return "less than a day" if days < 1 else f"{days:.0f} day{'' if round(days) == 1 else 's'}"


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:.1f} ms" if seconds < 1 else f"{seconds:.1f} s"
