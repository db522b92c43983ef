"""User contexts: pages that share cookies, storage and settings."""

from __future__ import annotations

from pathlib import Path

from gi.repository import WebKit2
from wire import Json, new_id

DEAD_PROXY = "http://127.0.0.1:9"  # the discard port: nothing answers there


class UserContext:
    """One of them; WebKit's objects are made with the first page, when the settings are known."""

    def __init__(self, context_id: str, profile: str, insecure: bool) -> None:
        self.id = context_id
        self.profile = profile
        self.insecure = insecure
        self.size = (1280, 720)
        self.time_zone: str | None = None
        self.languages: list[str] = []
        self.preload: dict[str, Json] = {}
        self.downloads: str | None = None
        self.offline = False
        self._web: WebKit2.WebContext | None = None

    @property
    def web(self) -> WebKit2.WebContext:
        if self._web is None:
            Path(self.profile).mkdir(parents=True, exist_ok=True)
            zone = {"time_zone_override": self.time_zone} if self.time_zone else {}
            self._web = WebKit2.WebContext(website_data_manager=self._storage(), **zone)
            if self.languages:
                self._web.set_preferred_languages(self.languages)
            self._web.connect("download-started", self._on_download)
            self._connect()
        return self._web

    def _storage(self) -> WebKit2.WebsiteDataManager:
        # Not an ephemeral one: the consoles of its pages print nothing.
        manager = WebKit2.WebsiteDataManager(
            base_data_directory=f"{self.profile}/data",
            base_cache_directory=f"{self.profile}/cache",
        )
        manager.get_cookie_manager().set_persistent_storage(
            f"{self.profile}/cookies", WebKit2.CookiePersistentStorage.SQLITE
        )
        manager.set_itp_enabled(False)
        if self.insecure:
            manager.set_tls_errors_policy(WebKit2.TLSErrorsPolicy.IGNORE)
        return manager

    def set_offline(self, offline: bool) -> None:
        """Send everything to where nothing answers, or no longer."""
        self.offline = offline
        self._connect()

    def _connect(self) -> None:
        if self._web is None:
            return
        manager = self._web.get_website_data_manager()
        if self.offline:
            settings = WebKit2.NetworkProxySettings.new(DEAD_PROXY, None)
            manager.set_network_proxy_settings(WebKit2.NetworkProxyMode.CUSTOM, settings)
        else:
            manager.set_network_proxy_settings(WebKit2.NetworkProxyMode.NO_PROXY, None)

    def _on_download(self, _web: WebKit2.WebContext, download: WebKit2.Download) -> None:
        from page import PAGES

        view = download.get_web_view()
        page = next((each for each in PAGES.values() if each.view == view), None)
        about: Json = {"download": new_id(), "navigation": None}
        ending = {"status": "complete"}

        def decide(_download: WebKit2.Download, name: str) -> bool:
            folder = Path(self.downloads or ".")
            folder.mkdir(parents=True, exist_ok=True)
            download.set_allow_overwrite(True)
            download.set_destination((folder / name).resolve().as_uri())
            if page:
                url = download.get_request().get_uri()
                page.event(
                    "browsingContext.downloadWillBegin", url=url, suggestedFilename=name, **about
                )
            return True

        def finished(_download: WebKit2.Download) -> None:
            if page:
                page.event("browsingContext.downloadEnd", **about, **ending)

        download.connect("decide-destination", decide)
        download.connect("failed", lambda *_: ending.update(status="canceled"))
        download.connect("finished", finished)


USERS: dict[str, UserContext] = {}


def users_of(params: Json) -> list[UserContext]:
    """Return the user contexts that a command is for: the profile's own if it names none."""
    names = params.get("userContexts") or ["default"]
    return [USERS[name or "default"] for name in names if (name or "default") in USERS]
