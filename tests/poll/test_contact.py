"""How the contact with each controller stands, as keepers tell it over real TLS, sessions, streams and pushes."""

from __future__ import annotations

import asyncio
import ssl
import time
from pathlib import Path
from urllib.parse import urlsplit

from cryptography import x509
from cryptography.hazmat.primitives import hashes

from collector.model import Contact, EventsBy, Login, Update
from collector.poll.contact import CLOCK_GRAIN, ContactNote
from collector.poll.fleet import Fleet as Collector
from collector.redfish.client import Client
from collector.settings import ControllerSettings, load
from simulators.serve import Fleet
from simulators.site import scaled_site
from simulators.world import World
from tests.poll.test_events import free_port
from tests.poll.test_leaks import spoken

BY = {"modern": EventsBy.STREAM, "push": EventsBy.PUSH, "plain": EventsBy.LOGS}


async def test_certificate_session_clock_and_events_of_each_dialect(tmp_path: Path) -> None:
    """What a keeper tells against what the standard library sees of the same service."""
    world = World(spoken(scaled_site(3), *BY), seed=1)
    dialects = {unit.name: str(unit.dialect) for unit in world.site.equipment}
    newest: dict[str, Contact] = {}
    told = 0
    changed = asyncio.Event()
    begun = time.time()

    async def tell(update: Update) -> None:
        nonlocal told
        if update.contact is not None:
            told += 1
            newest[update.controller] = update.contact
            changed.set()

    async with Fleet(world, tmp_path, poll_interval=0.5) as fleet:
        port = free_port()
        section = f'[events]\nlisten = "127.0.0.1:{port}"\nadvertise = "http://127.0.0.1:{port}"\n'
        fleet.path.write_text(section + fleet.path.read_text())
        settings = load(fleet.path)
        collector = Collector(settings, tell)
        task = asyncio.create_task(collector.run())
        try:
            async with asyncio.timeout(60):
                while {name: contact.events for name, contact in newest.items()} != {
                    name: BY[dialect] for name, dialect in dialects.items()
                } or not all(c.events_since for c in newest.values() if c.events is not EventsBy.LOGS):
                    await changed.wait()
                    changed.clear()
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
        for controller in settings.controllers:
            contact = newest[controller.name]
            address = urlsplit(controller.url)
            pem = await asyncio.to_thread(ssl.get_server_certificate, (address.hostname or "", address.port or 443))
            seen = x509.load_pem_x509_certificate(pem.encode())
            assert contact.fingerprint == "sha256:" + seen.fingerprint(hashes.SHA256()).hex()
            assert contact.expires == seen.not_valid_after_utc.timestamp()
            assert contact.login is Login.SESSION
            assert not contact.session_table_full
            assert contact.refusals == 0
            assert contact.session_since is not None
            assert begun <= contact.session_since <= time.time()
            assert contact.clock_offset is not None
            assert abs(contact.clock_offset) < 3.0
            assert (contact.subscription is not None) == (contact.events is EventsBy.PUSH)
    assert told < 20, "news alone is told, not every round"


def test_a_clock_is_told_anew_when_it_has_moved(tmp_path: Path) -> None:
    note = ContactNote(Client(ControllerSettings(name="bmc", url="https://192.0.2.1")), None)
    assert note.news(1.0, clock_offset=5.0) == Contact(clock_offset=5.0)
    assert note.news(2.0, clock_offset=5.0 + CLOCK_GRAIN) is None
    assert note.news(3.0) is None, "a round that did not read it"
    moved = note.news(4.0, clock_offset=5.1 + CLOCK_GRAIN)
    assert moved is not None
    assert moved.clock_offset == 5.1 + CLOCK_GRAIN


def test_no_session_is_left_in_what_was_told_after_a_leave() -> None:
    told = Contact(login=Login.SESSION, session_since=1.0, events=EventsBy.STREAM, events_since=2.0, expires=3.0)
    assert told.left() == Contact(expires=3.0)
