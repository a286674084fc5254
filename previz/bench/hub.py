"""
Everybody at one scene: what each client sends is done in order, and what comes of it is told to all.

    socket --> read_message --> document (its own thread, one edit after the other) --> told --> file, half a second later
                                        |
                                        +--> live (the engine's threads) --> pictures, light, figures --> told

Takes messages; calls the document and the engine. Waits for events and has no clock that ticks: idle, it does nothing.
"""

from __future__ import annotations

import asyncio
import itertools
import json
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from starlette.websockets import WebSocket, WebSocketDisconnect

from previz.bench import wire
from previz.bench.document import BY_HAND, Accepted, Asked, Document, Faulty, Refused, TakenUp
from previz.bench.merge import Clash
from previz.bench.pairing import Bucket
from previz.scene.faults import PrevizError

SAVE_AFTER_S, TRY_AGAIN_S = 0.3, 5.0
"""From an edit to the file on the disk; and again, where that could not be written."""

LOOK_STEP_MS = 1000
"""How often the system's notices of changed files are taken in."""

MOST_CLIENTS = 32
MOST_WAITING = 5000
MESSAGES, EDITS = (200.0, 800.0), (40.0, 200.0)
"""Messages and edits a second of one client in the long run, and at once (own choice): a drag sends two a frame."""

log = logging.getLogger("previz.bench")


class Client:
    """One page: its socket, its name, and what waits to be told to it."""

    def __init__(self, socket: WebSocket, number: int):
        self.socket, self.number, self.who = socket, number, ""
        self.told: asyncio.Queue[str | None] = asyncio.Queue(MOST_WAITING)
        self.messages, self.edits = Bucket(*MESSAGES), Bucket(*EDITS)
        self.trying: wire.Try | None = None
        self.trial: asyncio.Task | None = None
        self.tries = False
        self.at_it: asyncio.Task | None = None

    @property
    def seat(self) -> str:
        """The name of this very page: one browser may have several."""
        return f"{self.who}/{self.number}"

    def tell(self, message: dict) -> None:
        """Tell it, in order; a page that takes nothing in is let go."""
        try:
            self.told.put_nowait(json.dumps(message))
        except asyncio.QueueFull:
            if self.at_it is not None:
                self.at_it.cancel()


class Hub:
    """
    The scene's clients, its document and its engine.

    Parameters
    ----------
    document : Document
    engine : callable
        Given `tell(seat or None, message)`, which any thread may call, returns the engine (`Live`).
    share : bool
        Whether others in the network can reach it.
    """

    def __init__(self, document: Document, engine: Callable, share: bool):
        self.document, self.share = document, share
        self.clients: dict[int, Client] = {}
        self._engine, self.live = engine, None
        self._numbers = itertools.count(1)
        self._documents = ThreadPoolExecutor(1, "document")
        self._saving: asyncio.TimerHandle | None = None
        self._tasks: set[asyncio.Task] = set()
        self._open = False

    async def start(self) -> None:
        """Begin: show the scene to the engine, watch the file."""
        self._loop = asyncio.get_running_loop()
        self._open = True
        self.live = await asyncio.to_thread(self._engine, self.tell)
        self.live.show(self.document.file, self.document.rev)
        self._do(self._watch())
        if self.document.unsaved:
            self._save_soon()

    async def stop(self) -> None:
        """End: everything is on the disk, and no thread runs on."""
        self._open = False
        if self._saving:
            self._saving.cancel()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        try:
            await self._documented(self.document.close)
        finally:
            self._documents.shutdown()
            await asyncio.to_thread(self.live.close)

    def tell(self, seat: str | None, message: dict) -> None:
        """Tell one page, or all; any thread may call this."""
        try:
            self._loop.call_soon_threadsafe(self._tell, seat, message)
        except RuntimeError:
            pass  # The loop has ended, and with it everybody who listened.

    def _tell(self, seat, message, but: Client | None = None):
        for client in self.clients.values():
            if client.who and client is not but and seat in (None, client.seat):
                client.tell(message)

    async def talk(self, socket: WebSocket) -> None:
        """Serve one socket from its beginning to its end."""
        await socket.accept()
        if len(self.clients) >= MOST_CLIENTS:
            await socket.send_text(json.dumps(wire.Full(says=f"There are {MOST_CLIENTS} pages on this bench already. Close one.").plain()))
            return await socket.close(1013)
        client = Client(socket, next(self._numbers))
        self.clients[client.number] = client
        client.at_it = asyncio.current_task()
        sender = self._do(self._send(client))
        try:
            while True:
                await self._hear(client, await socket.receive())
        except (WebSocketDisconnect, OSError, RuntimeError):
            pass
        finally:
            del self.clients[client.number]
            sender.cancel()
            if client.trial is not None:
                client.trial.cancel()
            if client.who and self._open:
                self._tell(None, wire.Trying(by=client.who, changes=[]).plain())
                self._tell(None, wire.Here(clients=len(self.clients)).plain())
                await asyncio.to_thread(self.live.forget, client.seat)

    async def _send(self, client):
        try:
            while (text := await client.told.get()) is not None:
                await client.socket.send_text(text)
        except (WebSocketDisconnect, OSError, RuntimeError):
            pass

    async def _hear(self, client, received):
        """One event of a socket: never answered with anything but words."""
        if received["type"] == "websocket.disconnect":
            raise WebSocketDisconnect
        if wait := client.messages.wait():
            # What comes too fast is taken in more slowly; nothing of it is lost.
            await asyncio.sleep(wait)
        text = received.get("text")
        if text is None:
            return client.tell(_refused(None, "a message is text", "Send JSON."))
        try:
            message = wire.read_message(text)
        except wire.Unreadable as fault:
            return client.tell(_refused(wire.id_of(text), str(fault), "Reload the page."))
        if isinstance(message, wire.Hello):
            return self._greet(client, message)
        if not client.who:
            return client.tell(_refused(getattr(message, "id", None), "nobody has said hello on this connection", "Reload the page."))
        if isinstance(message, wire.Try):
            return self._try(client, message)
        if isinstance(message, wire.Look):
            return self._look(client, message)
        if wait := client.edits.wait():
            return client.tell(wire.Full(id=message.id, says="Too many edits at once.", wait_s=round(wait + 0.05, 2)).plain())
        await self._edit(client, message)

    def _greet(self, client, message):
        first = not client.who
        if not first:
            return client.tell(_refused(None, "this connection has said hello already", "Open another one."))
        client.who = message.who
        document = self.document
        client.tell(wire.Welcome(rev=document.rev, clients=len(self.clients), file=document.path.name, share=self.share).plain())
        if document.faults:
            client.tell(wire.OutsideFault(faults=_faults(document.faults)).plain())
        elif not document.unsaved:
            client.tell(wire.Saved(rev=document.rev).plain())
        self._tell(None, wire.Here(clients=len(self.clients)).plain(), but=client)
        for who, id, clashes in document.questions:
            if who == client.who:
                client.tell(wire.Asked(id=id, conflicts=_conflicts(clashes)).plain())
        document.questions = tuple(question for question in document.questions if question[0] != client.who)

    def _look(self, client, message):
        if message.shot not in {shot.name for shot in self.document.file.scene.shot}:
            return client.tell(_refused(None, f'there is no shot "{message.shot}"', "Choose one that the scene has."))
        self.live.look(client.seat, message.shot, message.take_s, message.width)

    def _try(self, client, message):
        """Keep the newest; one is looked at at a time."""
        client.trying = message
        if client.trial is None or client.trial.done():
            client.trial = self._do(self._try_out(client))

    async def _try_out(self, client):
        while client.trying is not None:
            message, client.trying = client.trying, None
            file = await asyncio.to_thread(self.document.tried, message.changes) if message.changes else None
            if isinstance(file, Refused):
                client.tell(wire.Refused(seq=message.seq, faults=_faults(file.faults)).plain())
                continue
            client.tries = file is not None
            self.live.try_(client.seat, file, message.seq)
            self._tell(None, wire.Trying(by=client.who, changes=message.changes).plain(), but=client)

    def _end_try(self, client):
        """What is let go is not tried any more, whether it goes into the file or not."""
        client.trying = None
        if client.trial is not None:
            client.trial.cancel()
        if client.tries:
            client.tries = False
            self.live.try_(client.seat, None, 0)
            self._tell(None, wire.Trying(by=client.who, changes=[]).plain(), but=client)

    async def _edit(self, client, message):
        document = self.document
        if isinstance(message, wire.Edit):
            do = (document.edit, client.who, message.id, message.base, message.changes, message.says)
        elif isinstance(message, wire.BackTo):
            do = (document.back_to, client.who, message.id, message.rev)
        else:
            do = (document.undo if isinstance(message, wire.Undo) else document.redo, client.who, message.id, message.base, message.answer)
        try:
            outcome, file, rev = await self._documented(lambda: (do[0](*do[1:]), document.file, document.rev))
        except PrevizError as fault:
            self._end_try(client)
            return client.tell(_refused(message.id, str(fault), ""))
        if isinstance(outcome, Accepted) and not outcome.again:
            self._accepted(outcome, file, rev)
        self._end_try(client)
        if isinstance(outcome, Asked):
            client.tell(wire.Asked(id=message.id, conflicts=_conflicts(outcome.clashes)).plain())
        elif isinstance(outcome, Refused):
            client.tell(wire.Refused(id=message.id, faults=_faults(outcome.faults)).plain())
        elif outcome.again:
            client.tell(_edited(outcome.revision))
            if not document.unsaved:
                client.tell(wire.Saved(rev=document.rev).plain())

    def _accepted(self, outcome: Accepted, file, rev):
        self._tell(None, _edited(outcome.revision))
        self.live.show(file, rev)
        self._save_soon()

    def _save_soon(self, after_s: float = SAVE_AFTER_S):
        if self._saving is None and self._open:
            self._saving = self._loop.call_later(after_s, lambda: self._do(self.save()))

    async def save(self) -> None:
        """Write the file where it holds less than was edited, and tell; where that fails, tell, and try again later."""
        if self._saving:
            self._saving.cancel()
        self._saving = None
        try:
            (found, saved), file, rev = await self._documented(lambda: (self.document.save(), self.document.file, self.document.rev))
        except PrevizError as fault:
            self._tell(None, wire.Wrong(says=f"{fault} Every edit is kept in the journal meanwhile.").plain())
            return self._save_soon(TRY_AGAIN_S)
        self._found(found, file, rev)
        if saved is not None:
            self._tell(None, wire.Saved(rev=saved).plain())

    async def look(self, anew: bool = False) -> None:
        """Look whether the file was changed by hand, and tell."""
        found, file, rev = await self._documented(lambda: (self.document.look(anew), self.document.file, self.document.rev))
        self._found(found, file, rev)
        if not self.document.faults and self.document.unsaved:
            self._save_soon()
        elif isinstance(found, TakenUp):
            self._tell(None, wire.Saved(rev=rev).plain())

    def _found(self, found, file, rev):
        if isinstance(found, Faulty):
            self._tell(None, wire.OutsideFault(faults=_faults(found.faults)).plain())
        elif isinstance(found, TakenUp):
            self._tell(None, wire.Outside(rev=found.revision.rev, says=found.revision.says).plain())
            self.live.show(file, rev)
            for who, id, clashes in found.asked:
                there = [client for client in self.clients.values() if client.who == who]
                for client in there:
                    client.tell(wire.Asked(id=id, conflicts=_conflicts(clashes)).plain())
                if not there:
                    self.document.questions = (*self.document.questions, (who, id, clashes))

    async def _watch(self):
        """Wait for the system's word that something in the scene's folder has changed."""
        from watchfiles import awatch

        folder = self.document.path.resolve().parent
        places = [place for place in (folder, folder / "kit") if place.is_dir()]
        try:
            async for changes in awatch(*places, step=LOOK_STEP_MS, debounce=2 * LOOK_STEP_MS, recursive=False, watch_filter=None):
                names = {Path(path).name for _, path in changes}
                if any(Path(path).parent.name == "kit" and path.endswith(".toml") for _, path in changes) or names & self._named():
                    await self.look(anew=True)
                elif names & {self.document.path.name, self.document.path.resolve().name}:
                    await self.look()
        except OSError as error:
            log.warning("Changes made outside are seen only when the page edits: %s", error.strerror or error)

    def _named(self) -> set[str]:
        """The files that the scene names."""
        scene = self.document.file.scene
        files = [thing.file for thing in (*scene.prop, *scene.lamp, *((scene.mesh,) if scene.mesh else ())) if getattr(thing, "file", None)]
        return {Path(file).name for file in files}

    async def _documented(self, do):
        """Do something with the document on its own thread, one thing after the other."""
        return await self._loop.run_in_executor(self._documents, do)

    def _do(self, work) -> asyncio.Task:
        """Run a piece of work beside the others, and keep it from being forgotten."""
        task = self._loop.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._done)
        return task

    def _done(self, task):
        self._tasks.discard(task)
        if not task.cancelled() and task.exception() is not None:
            log.error("This is a fault of previz, not of your file.", exc_info=task.exception())
            self._tell(None, wire.Wrong(says="Something went wrong on the server; the terminal shows more.").plain())


def _edited(revision):
    return wire.Edited(rev=revision.rev, changes=revision.after(), by=revision.by, id=revision.id, says=revision.says).plain()


def _faults(faults):
    return [wire.FaultTold(key=key, says=says, remedy=remedy, line=line) for key, says, remedy, line in faults]


def _conflicts(clashes: tuple[Clash, ...]):
    by_hand = "the file, by hand"
    return [wire.Conflict(key=c.key, was=c.was, theirs=c.theirs, yours=c.yours, by=by_hand if c.by == BY_HAND else c.by) for c in clashes]


def _refused(id, says, remedy):
    return wire.Refused(id=id, faults=[wire.FaultTold(key=None, says=says, remedy=remedy, line=0)]).plain()
