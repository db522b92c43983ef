"""A window that holds nothing but one page, so that it has any size."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import wire
from gi.repository import Gdk, GLib, Gtk, WebKit2
from hands import Hands
from program_texts import program_texts
from resources import Load, is_cancelled
from users import UserContext
from wire import CommandError, Fail, Json, Reply, new_id, now_ms

REMOTE = Path(__file__).with_name("remote.js").read_text(encoding="utf-8")
UTILITY = "-utility"  # Playwright's own script world; here it is the page's, under another name
DIALOGS = {
    WebKit2.ScriptDialogType.ALERT: "alert",
    WebKit2.ScriptDialogType.CONFIRM: "confirm",
    WebKit2.ScriptDialogType.PROMPT: "prompt",
    WebKit2.ScriptDialogType.BEFORE_UNLOAD_CONFIRM: "beforeunload",
}


class Page:
    """One of them."""

    def __init__(self, user: UserContext) -> None:
        self.id = new_id()
        self.user = user
        self.realm = new_id()
        self.navigation: str | None = None
        self.asked_navigation: str | None = None
        self.loading = False
        self.files: list[str] = []
        self.dialog: WebKit2.ScriptDialog | None = None
        self.manager = WebKit2.UserContentManager()
        self.manager.connect("script-message-received::remote", self._on_message)
        self.manager.register_script_message_handler("remote")
        self.install_preload()
        settings = WebKit2.Settings(
            enable_write_console_messages_to_stdout=True,
            enable_smooth_scrolling=False,
            javascript_can_open_windows_automatically=False,
        )
        self.view = WebKit2.WebView(
            web_context=user.web, user_content_manager=self.manager, settings=settings
        )
        self.hands = Hands(self.view)
        self.view.connect("load-changed", self._on_load_changed)
        self.view.connect("load-failed", self._on_load_failed)
        self.view.connect("notify::uri", self._on_uri)
        self.view.connect("resource-load-started", lambda _, *loaded: Load(self, *loaded))
        self.view.connect("run-file-chooser", self._on_file_chooser)
        self.view.connect("script-dialog", self._on_dialog)
        self.view.connect("permission-request", lambda _, request: request.deny() or True)
        self.window = Gtk.Window()
        self.window.set_default_size(*user.size)
        self.window.add(self.view)
        self.window.show_all()
        self.activate()

    def event(self, method: str, /, **params: object) -> None:
        wire.event(method, context=self.id, **params)

    def report(self) -> None:
        """Tell the other side that this page is here."""
        self.event(
            "browsingContext.contextCreated",
            url="about:blank",
            userContext=self.user.id,
            parent=None,
            children=None,
            originalOpener=None,
        )
        self._report_realm()

    def _report_realm(self) -> None:
        origin = self.view.get_uri() or "null"
        self.event("script.realmCreated", realm=self.realm, origin=origin, type="window")

    # Where the page goes

    def expect_navigation(self) -> str:
        """Return the number of the load that is about to be asked for."""
        self.asked_navigation, self.loading = new_id(), True
        return self.asked_navigation

    def _navigated(self, method: str, **more: object) -> None:
        self.event(
            f"browsingContext.{method}",
            navigation=self.navigation,
            timestamp=now_ms(),
            url=self.view.get_uri() or "",
            **more,
        )

    def _on_load_changed(self, _view: WebKit2.WebView, stage: WebKit2.LoadEvent) -> None:
        if stage == WebKit2.LoadEvent.STARTED:
            self.navigation, self.asked_navigation = self.asked_navigation or new_id(), None
            self.loading = True
            self._navigated("navigationStarted")
        elif stage == WebKit2.LoadEvent.COMMITTED:
            for realm in (self.realm, self.realm + UTILITY):
                wire.event("script.realmDestroyed", realm=realm)
            self.realm = new_id()
            self._navigated("navigationCommitted")
            self._report_realm()
        elif stage == WebKit2.LoadEvent.FINISHED:
            self.loading = False
            self._navigated("domContentLoaded")
            self._navigated("load")

    def _on_load_failed(
        self, _view: WebKit2.WebView, _stage: WebKit2.LoadEvent, _url: str, error: GLib.Error
    ) -> bool:
        aborted = is_cancelled(error) or error.domain == "WebKitPolicyError"
        method = "navigationAborted" if aborted else "navigationFailed"
        self._navigated(method, message=error.message)
        return True

    def _on_uri(self, *_: object) -> None:
        def tell() -> bool:
            if not self.loading and self.id in PAGES:
                self.event(
                    "browsingContext.historyUpdated", url=self.view.get_uri() or "", timestamp=0
                )
            return False

        GLib.idle_add(tell)

    # What the page asks of whoever sits before it

    def _on_file_chooser(self, _view: WebKit2.WebView, request: WebKit2.FileChooserRequest) -> bool:
        if self.files:
            request.select_files(self.files)
            self.files = []
        else:
            request.cancel()
        return True

    def _on_dialog(self, _view: WebKit2.WebView, dialog: WebKit2.ScriptDialog) -> bool:
        dialog.ref()
        self.dialog = dialog
        self.event(
            "browsingContext.userPromptOpened",
            type=DIALOGS[dialog.get_dialog_type()],
            message=dialog.get_message(),
            handler="ignore",
            defaultValue="",
        )
        return True

    def settle_dialog(self, accept: bool, typed: str | None) -> None:
        dialog, self.dialog = self.dialog, None
        if dialog is None:
            raise CommandError("no such alert")
        if dialog.get_dialog_type() == WebKit2.ScriptDialogType.PROMPT:
            dialog.prompt_set_text(typed or "")
        elif dialog.get_dialog_type() != WebKit2.ScriptDialogType.ALERT:
            dialog.confirm_set_confirmed(accept)
        dialog.close()
        dialog.unref()
        self.event("browsingContext.userPromptClosed", accepted=accept, type="", userText=typed)

    # Scripts

    def _on_message(self, _manager: WebKit2.UserContentManager, said: Any) -> None:
        message = json.loads(said.get_js_value().to_string())
        source = {"realm": self.realm, "context": self.id}
        wire.event("script.message", **message, source=source)

    def install_preload(self) -> None:
        """Let each next document begin with the scripts that it is to begin with."""
        self.manager.remove_all_scripts()
        for script in self.user.preload.values():
            if script["contexts"] is not None and self.id not in script["contexts"]:
                continue
            given = ", ".join(f"remote.local({json.dumps(each)})" for each in script["arguments"])
            self.manager.add_script(
                WebKit2.UserScript(
                    f"{{ const remote = {REMOTE}; ({script['source']})({given}); }}",
                    WebKit2.UserContentInjectedFrames.TOP_FRAME,
                    WebKit2.UserScriptInjectionTime.START,
                    None,
                    None,
                )
            )

    def run(self, work: str, asked: Json, reply: Reply, fail: Fail) -> None:
        """Call the function whose source is given with remote values, and pass on what comes of it."""
        texts = program_texts(asked.get("args", []))
        known = ", ".join(f"[{json.dumps(text)}, () => ({code}\n)]" for text, code in texts)
        body = (
            f"const remote = {REMOTE}; remote.compiled([{known}]);"
            f"return await remote.run({work}, asked);"
        )
        arguments = GLib.Variant("a{sv}", {"asked": GLib.Variant("s", json.dumps(asked))})

        def done(view: WebKit2.WebView, outcome: Any) -> None:
            try:
                text = view.call_async_javascript_function_finish(outcome).to_string()
            except GLib.Error as error:
                fail(error.message)
                return
            result = json.loads(text)
            if result["type"] == "missing":
                fail(result["text"])
            else:
                reply(result)

        self.view.call_async_javascript_function(body, -1, arguments, None, None, None, done)

    # Looks

    def activate(self) -> None:
        """Let the page be the one that is looked at and typed into."""
        for each in PAGES.values():
            if each is not self:
                each.focus(False)
        self.window.present()
        self.focus(True)
        self.view.grab_focus()

    def focus(self, into: bool) -> None:
        event = Gdk.Event.new(Gdk.EventType.FOCUS_CHANGE)
        event.window = self.window.get_window()
        event.send_event = True
        setattr(event.focus_change, "in", int(into))
        Gtk.main_do_event(event)

    def picture(self, clip: Json | None) -> str:
        """Return what the window shows as a PNG in base64."""
        window = self.view.get_window()
        width, height = window.get_width(), window.get_height()
        shot = Gdk.pixbuf_get_from_window(window, 0, 0, width, height)
        if clip:
            x, y = max(0, int(clip["x"])), max(0, int(clip["y"]))
            size = (min(width - x, round(clip["width"])), min(height - y, round(clip["height"])))
            scale = window.get_scale_factor()
            shot = shot.new_subpixbuf(*(scale * each for each in (x, y, *size)))
        _, data = shot.save_to_bufferv("png", [], [])
        return base64.b64encode(data).decode()

    def close(self) -> None:
        PAGES.pop(self.id, None)
        self.event(
            "browsingContext.contextDestroyed", url="", parent=None, userContext=self.user.id
        )
        self.window.destroy()


PAGES: dict[str, Page] = {}


def page_of(params: Json) -> Page:
    """Return the page that a command names."""
    page = PAGES.get(params.get("context", ""))
    if page is None:
        raise CommandError("no such frame")
    return page


def page_of_target(target: Json) -> Page:
    """Return the page in which a script is to run."""
    if "context" in target:
        return page_of(target)
    for page in PAGES.values():
        if target["realm"].removesuffix(UTILITY) == page.realm:
            return page
    raise CommandError("no such frame")
