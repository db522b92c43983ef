"""WebDriver BiDi's commands, as far as Playwright gives them.

Each gets its parameters and two functions: one for its result, one for why there is none.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

from gi.repository import GLib, Gtk, Soup, WebKit2
from page import PAGES, UTILITY, Page, page_of, page_of_target
from users import USERS, UserContext, users_of
from wire import Fail, Json, Reply, new_id

PROFILE = sys.argv[1]
RESIZED = (
    "(width, height) => new Promise((done) => { const look = () => "
    "innerWidth === width && innerHeight === height ? done() : setTimeout(look, 5); look(); })"
)
DRAWN = (
    "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done())))"
)
DRAWING_MS = 60
SAME_SITE = {
    "strict": Soup.SameSitePolicy.STRICT,
    "lax": Soup.SameSitePolicy.LAX,
    "none": Soup.SameSitePolicy.NONE,
}


def new_session(params: Json, reply: Reply, fail: Fail) -> None:
    asked = params.get("capabilities", {}).get("alwaysMatch", {})
    USERS["default"] = UserContext("default", PROFILE, bool(asked.get("acceptInsecureCerts")))
    parts = (
        WebKit2.get_major_version(),
        WebKit2.get_minor_version(),
        WebKit2.get_micro_version(),
    )
    capabilities = {
        "browserVersion": ".".join(map(str, parts)),
        "userAgent": WebKit2.Settings().get_user_agent(),
    }
    reply({"sessionId": new_id(), "capabilities": capabilities})


def quit_all(params: Json, reply: Reply, fail: Fail) -> None:
    for page in list(PAGES.values()):
        page.window.destroy()
    reply({})
    GLib.idle_add(Gtk.main_quit)


def create_user(params: Json, reply: Reply, fail: Fail) -> None:
    number = new_id()
    folder = f"{PROFILE}/contexts/{number}"
    user = USERS[number] = UserContext(number, folder, bool(params.get("acceptInsecureCerts")))
    reply({"userContext": user.id})


def remove_user(params: Json, reply: Reply, fail: Fail) -> None:
    for page in [page for page in PAGES.values() if page.user.id == params["userContext"]]:
        page.close()
    USERS.pop(params["userContext"], None)
    reply({})


def download_behaviour(params: Json, reply: Reply, fail: Fail) -> None:
    for user in users_of(params):
        user.downloads = (params.get("downloadBehavior") or {}).get("destinationFolder")
    reply({})


def time_zone(params: Json, reply: Reply, fail: Fail) -> None:
    for user in users_of(params):
        user.time_zone = params.get("timezone")
    reply({})


def locale(params: Json, reply: Reply, fail: Fail) -> None:
    for user in users_of(params):
        user.languages = [params["locale"]] if params.get("locale") else []
    reply({})


def network_conditions(params: Json, reply: Reply, fail: Fail) -> None:
    for user in users_of(params):
        user.set_offline(bool(params.get("networkConditions")))
    reply({})


def create_page(params: Json, reply: Reply, fail: Fail) -> None:
    page = Page(USERS[params.get("userContext") or "default"])
    PAGES[page.id] = page
    page.report()
    reply({"context": page.id})


def close_page(params: Json, reply: Reply, fail: Fail) -> None:
    page_of(params).close()
    reply({})


def activate(params: Json, reply: Reply, fail: Fail) -> None:
    page_of(params).activate()
    reply({})


def navigate(params: Json, reply: Reply, fail: Fail) -> None:
    page = page_of(params)
    number = page.expect_navigation()
    page.view.load_uri(params["url"])
    reply({"navigation": number, "url": params["url"]})


def reload(params: Json, reply: Reply, fail: Fail) -> None:
    page = page_of(params)
    number = page.expect_navigation()
    page.view.reload()
    reply({"navigation": number, "url": page.view.get_uri()})


def traverse(params: Json, reply: Reply, fail: Fail) -> None:
    page = page_of(params)
    entry = page.view.get_back_forward_list().get_nth_item(params["delta"])
    if entry is None:
        fail("no such history entry")
        return
    page.view.go_to_back_forward_list_item(entry)
    reply({})


def set_viewport(params: Json, reply: Reply, fail: Fail) -> None:
    size = params.get("viewport") or {}
    if "context" not in params:
        for user in users_of(params):
            user.size = (size["width"], size["height"])
        reply({})
        return
    page = page_of(params)
    page.window.resize(size["width"], size["height"])
    args = [{"type": "number", "value": size[side]} for side in ("width", "height")]
    page.run(RESIZED, {"args": args}, lambda _: reply({}), fail)


def capture(params: Json, reply: Reply, fail: Fail) -> None:
    page = page_of(params)
    clip = params.get("clip")
    width, height = page.window.get_size()
    whole = params.get("origin") == "document" and clip and clip["height"] > height
    if whole:
        page.window.resize(width, int(clip["y"] + clip["height"]))

    def shoot() -> bool:
        reply({"data": page.picture(clip)})
        if whole:
            page.window.resize(width, height)
        return False

    page.run(DRAWN, {}, lambda _: GLib.timeout_add(DRAWING_MS, shoot), fail)


def settle_prompt(params: Json, reply: Reply, fail: Fail) -> None:
    page_of(params).settle_dialog(params.get("accept", True), params.get("userText"))
    reply({})


def evaluate(params: Json, reply: Reply, fail: Fail) -> None:
    expression = params["expression"].rstrip().rstrip(";")
    script(params, f"() => ({expression}\n)", reply, fail)


def call_function(params: Json, reply: Reply, fail: Fail) -> None:
    script(params, f"({params['functionDeclaration']}\n)", reply, fail)


def script(params: Json, work: str, reply: Reply, fail: Fail) -> None:
    page = page_of_target(params["target"])
    realm = page.realm + (UTILITY if params["target"].get("sandbox") else "")
    asked = {
        "args": params.get("arguments") or [],
        "depth": (params.get("serializationOptions") or {}).get("maxObjectDepth"),
        "owned": params.get("resultOwnership") == "root",
    }
    page.run(work, asked, lambda result: reply({**result, "realm": realm}), fail)


def disown(params: Json, reply: Reply, fail: Fail) -> None:
    handles = [{"type": "string", "value": each} for each in params["handles"]]
    asked = {"args": [{"type": "array", "value": handles}]}
    page = page_of_target(params["target"])
    page.run("(handles) => remote.disown(handles)", asked, lambda _: reply({}), fail)


def add_preload(params: Json, reply: Reply, fail: Fail) -> None:
    number = new_id()
    contexts = params.get("contexts")
    users = [page_of({"context": each}).user for each in contexts or ()] or users_of(params)
    for user in users:
        user.preload[number] = {
            "source": params["functionDeclaration"],
            "arguments": params.get("arguments") or [],
            "contexts": contexts,
        }
    install_everywhere()
    reply({"script": number})


def remove_preload(params: Json, reply: Reply, fail: Fail) -> None:
    for user in USERS.values():
        user.preload.pop(params["script"], None)
    install_everywhere()
    reply({})


def install_everywhere() -> None:
    for page in PAGES.values():
        page.install_preload()


def perform(params: Json, reply: Reply, fail: Fail) -> None:
    page = page_of(params)
    hands = {"pointer": page.hands.point, "key": page.hands.type_key, "wheel": page.hands.scroll}
    waiting = [(each["type"], action) for each in params["actions"] for action in each["actions"]]

    def following(_: object = None) -> bool:
        if not waiting:
            reply({})
            return False
        kind, action = waiting.pop(0)
        if action["type"] == "pause":
            GLib.timeout_add(int(action.get("duration") or 0), following)
        else:
            hands[kind](action)
            # The page answers in order: when this is answered, it has dealt with the event.
            page.run("() => 0", {}, following, following)
        return False

    following()


def set_files(params: Json, reply: Reply, fail: Fail) -> None:
    page = page_of(params)
    page.files = params["files"]
    page.run("(input) => input.click()", {"args": [params["element"]]}, lambda _: reply({}), fail)


def user_of_storage(params: Json) -> UserContext:
    return USERS[(params.get("partition") or {}).get("userContext") or "default"]


def get_cookies(params: Json, reply: Reply, fail: Fail) -> None:
    def done(manager: WebKit2.CookieManager, outcome: Any) -> None:
        cookies = [described(each) for each in manager.get_all_cookies_finish(outcome)]
        reply({"cookies": cookies, "partitionKey": {}})

    user_of_storage(params).web.get_cookie_manager().get_all_cookies(None, done)


def described(cookie: Soup.Cookie) -> Json:
    names = {policy: name for name, policy in SAME_SITE.items()}
    expires = cookie.get_expires()
    return {
        "name": cookie.get_name(),
        "value": {"type": "string", "value": cookie.get_value()},
        "domain": cookie.get_domain(),
        "path": cookie.get_path(),
        "httpOnly": cookie.get_http_only(),
        "secure": cookie.get_secure(),
        "sameSite": names.get(cookie.get_same_site_policy(), "none"),
        "size": 0,
        **({"expiry": expires.to_unix()} if expires else {}),
    }


def set_cookie(params: Json, reply: Reply, fail: Fail) -> None:
    given = params["cookie"]
    place = (given["domain"], given.get("path") or "/")
    cookie = Soup.Cookie.new(given["name"], given["value"]["value"], *place, -1)
    if given.get("expiry"):
        cookie.set_expires(GLib.DateTime.new_from_unix_utc(int(given["expiry"])))
    cookie.set_http_only(bool(given.get("httpOnly")))
    cookie.set_secure(bool(given.get("secure")))
    if given.get("sameSite") in SAME_SITE:
        cookie.set_same_site_policy(SAME_SITE[given["sameSite"]])

    def done(manager: WebKit2.CookieManager, outcome: Any) -> None:
        manager.add_cookie_finish(outcome)
        reply({"partitionKey": {}})

    user_of_storage(params).web.get_cookie_manager().add_cookie(cookie, None, done)


def delete_cookies(params: Json, reply: Reply, fail: Fail) -> None:
    def done(manager: WebKit2.WebsiteDataManager, outcome: Any) -> None:
        manager.clear_finish(outcome)
        reply({"partitionKey": {}})

    manager = user_of_storage(params).web.get_website_data_manager()
    manager.clear(WebKit2.WebsiteDataTypes.COOKIES, 0, None, done)


COMMANDS: dict[str, Callable[[Json, Reply, Fail], None]] = {
    "session.new": new_session,
    "browser.createUserContext": create_user,
    "browser.removeUserContext": remove_user,
    "browser.setDownloadBehavior": download_behaviour,
    "browser.close": quit_all,
    "browsingContext.create": create_page,
    "browsingContext.close": close_page,
    "browsingContext.activate": activate,
    "browsingContext.navigate": navigate,
    "browsingContext.reload": reload,
    "browsingContext.traverseHistory": traverse,
    "browsingContext.setViewport": set_viewport,
    "browsingContext.captureScreenshot": capture,
    "browsingContext.handleUserPrompt": settle_prompt,
    "script.evaluate": evaluate,
    "script.callFunction": call_function,
    "script.disown": disown,
    "script.addPreloadScript": add_preload,
    "script.removePreloadScript": remove_preload,
    "input.performActions": perform,
    "input.setFiles": set_files,
    "storage.getCookies": get_cookies,
    "storage.setCookie": set_cookie,
    "storage.deleteCookies": delete_cookies,
    "emulation.setTimezoneOverride": time_zone,
    "emulation.setLocaleOverride": locale,
    "emulation.setNetworkConditions": network_conditions,
}
