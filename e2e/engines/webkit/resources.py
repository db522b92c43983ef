"""What a page loads, told as network events."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gi.repository import GLib, WebKit2
from wire import Json, new_id, now_ms

if TYPE_CHECKING:
    from page import Page


def is_cancelled(error: GLib.Error) -> bool:
    return bool(error.matches(WebKit2.network_error_quark(), WebKit2.NetworkError.CANCELLED))


def headers_of(message: WebKit2.URIRequest | WebKit2.URIResponse) -> list[Json]:
    listed: list[Json] = []
    headers = message.get_http_headers()
    if headers is not None:
        headers.foreach(
            lambda name, value: listed.append(
                {"name": name, "value": {"type": "string", "value": value}}
            )
        )
    return listed


class Load:
    """One resource on its way to a page."""

    def __init__(
        self, page: Page, resource: WebKit2.WebResource, request: WebKit2.URIRequest
    ) -> None:
        self.page, self.resource, self.request = page, resource, request
        self.main = resource == page.view.get_main_resource()
        self.navigation = page.navigation if self.main else None
        self.id = new_id()
        self.redirects = 0
        self.answered = False
        self.tell("beforeRequestSent", initiator={"type": "other"})
        resource.connect("sent-request", self.on_sent)
        resource.connect("notify::response", self.on_response)
        resource.connect("finished", self.on_finished)
        resource.connect("failed", self.on_failed)

    def tell(self, method: str, **more: object) -> None:
        self.page.event(
            f"network.{method}",
            isBlocked=False,
            navigation=self.navigation,
            redirectCount=self.redirects,
            timestamp=now_ms(),
            request={
                "request": self.id,
                "url": self.request.get_uri(),
                "method": self.request.get_http_method() or "GET",
                "headers": headers_of(self.request),
                "cookies": [],
                "headersSize": None,
                "bodySize": 0,
                "destination": "document" if self.main else "",
                "initiatorType": None if self.main else "fetch",
                "timings": {"requestTime": 0, "responseEnd": 0},
            },
            **more,
        )

    def answer(self, method: str, response: WebKit2.URIResponse | None) -> None:
        self.tell(
            method,
            response={
                "url": self.request.get_uri(),
                "protocol": "http/1.1",
                "status": response.get_status_code() if response else 0,
                "statusText": "",
                "fromCache": False,
                "headers": headers_of(response) if response else [],
                "mimeType": response.get_mime_type() if response else "",
                "bytesReceived": 0,
                "headersSize": 0,
                "bodySize": 0,
                "content": {"size": 0},
            },
        )

    def on_sent(
        self,
        _resource: WebKit2.WebResource,
        request: WebKit2.URIRequest,
        redirected: WebKit2.URIResponse | None,
    ) -> None:
        if redirected is None:
            return
        self.answer("responseStarted", redirected)
        self.answer("responseCompleted", redirected)
        self.redirects += 1
        self.request = request
        self.tell("beforeRequestSent", initiator={"type": "other"})

    def on_response(self, *_: object) -> None:
        if not self.answered:
            self.answered = True
            self.answer("responseStarted", self.resource.get_response())

    def on_finished(self, *_: object) -> None:
        self.on_response()
        self.answer("responseCompleted", self.resource.get_response())

    def on_failed(self, _resource: WebKit2.WebResource, error: GLib.Error) -> None:
        if not is_cancelled(error):
            self.tell("fetchError", errorText=error.message)
        elif (
            not self.main
        ):  # a page that moves to another process goes on, one that was left says so
            self.tell("fetchError", errorText="NS_BINDING_ABORTED")
