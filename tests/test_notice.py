"""A desktop notice sent for real: over a private D-Bus, to a service that writes down what it is told.

Outside: the Desktop Notifications Specification (freedesktop.org), method Notify of
org.freedesktop.Notifications: app_name, replaces_id, app_icon, summary, body, ...
"""

from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = [
    pytest.mark.skipif(shutil.which("dbus-daemon") is None, reason="dbus-daemon is not installed"),
    pytest.mark.skipif(sys.platform != "linux", reason="other systems have no D-Bus to listen on"),
]


SERVICE = """<node><interface name="org.freedesktop.Notifications">
<method name="GetCapabilities"><arg direction="out" type="as"/></method>
<method name="GetServerInformation">
<arg name="name" direction="out" type="s"/><arg name="vendor" direction="out" type="s"/>
<arg name="version" direction="out" type="s"/><arg name="spec_version" direction="out" type="s"/></method>
<method name="Notify">
<arg name="app_name" direction="in" type="s"/><arg name="replaces_id" direction="in" type="u"/>
<arg name="app_icon" direction="in" type="s"/><arg name="summary" direction="in" type="s"/>
<arg name="body" direction="in" type="s"/><arg name="actions" direction="in" type="as"/>
<arg name="hints" direction="in" type="a{sv}"/><arg name="expire_timeout" direction="in" type="i"/>
<arg direction="out" type="u"/></method>
</interface></node>"""


@pytest.fixture
def bus() -> Iterator[str]:
    """The address of a message bus of our own."""
    daemon = subprocess.Popen(
        ["dbus-daemon", "--session", "--nofork", "--print-address=1"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert daemon.stdout is not None
    try:
        yield daemon.stdout.readline().strip()
    finally:
        daemon.terminate()
        daemon.wait(10)
        daemon.stdout.close()


async def _told(address: str, text: str) -> list[list[Any]]:
    from dbus_fast import Message, MessageType
    from dbus_fast.aio import MessageBus

    heard: list[list[Any]] = []
    service = await MessageBus(bus_address=address).connect()
    await service.request_name("org.freedesktop.Notifications")

    def answer(message: Message) -> Message | None:
        if message.message_type is not MessageType.METHOD_CALL:
            return None
        if message.member == "Notify":
            heard.append(message.body)
            return Message.new_method_return(message, "u", [1])
        if message.member == "GetCapabilities":
            return Message.new_method_return(message, "as", [["body"]])
        if message.member == "GetServerInformation":
            return Message.new_method_return(message, "ssss", ["test", "test", "1", "1.2"])
        if message.member == "Introspect":
            return Message.new_method_return(message, "s", [SERVICE])
        return None

    service.add_message_handler(answer)
    sender = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "rounds.faces.notice",
        text,
        env={**os.environ, "DBUS_SESSION_BUS_ADDRESS": address},
        stderr=asyncio.subprocess.PIPE,
    )
    _, errors = await asyncio.wait_for(sender.communicate(), 30.0)
    service.disconnect()
    assert sender.returncode == 0, errors.decode()
    return heard


async def test_a_notice_reaches_the_desktop(bus: str) -> None:
    heard = await _told(bus, "a round is due: C3 and D3")
    assert len(heard) == 1
    app, _, _, summary, body = heard[0][:5]
    assert (app, summary, body) == ("rounds", "rounds", "a round is due: C3 and D3")
