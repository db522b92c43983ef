"""Taps, keys and the wheel, as events of the window system: a page takes them for a racer's."""

from __future__ import annotations

from gi.repository import Gdk, GLib, Gtk
from wire import Json

SPECIAL_KEYS = {
    "\ue003": "BackSpace",
    "\ue004": "Tab",
    "\ue006": "Return",
    "\ue007": "KP_Enter",
    "\ue008": "Shift_L",
    "\ue009": "Control_L",
    "\ue00a": "Alt_L",
    "\ue00c": "Escape",
    "\ue00e": "Page_Up",
    "\ue00f": "Page_Down",
    "\ue010": "End",
    "\ue011": "Home",
    "\ue012": "Left",
    "\ue013": "Up",
    "\ue014": "Right",
    "\ue015": "Down",
    "\ue017": "Delete",
}
MODIFIERS = {
    "Shift_L": Gdk.ModifierType.SHIFT_MASK,
    "Control_L": Gdk.ModifierType.CONTROL_MASK,
    "Alt_L": Gdk.ModifierType.MOD1_MASK,
}
BUTTONS = {0: 1, 1: 2, 2: 3}
BUTTON_MASKS = {
    1: Gdk.ModifierType.BUTTON1_MASK,
    2: Gdk.ModifierType.BUTTON2_MASK,
    3: Gdk.ModifierType.BUTTON3_MASK,
}
PIXELS_A_NOTCH = 40


class Hands:
    """A mouse and a keyboard over one view."""

    def __init__(self, view: Gtk.Widget) -> None:
        self.view = view
        self.pointer = (0.0, 0.0)
        self.held = Gdk.ModifierType(0)

    def _event(self, kind: Gdk.EventType) -> Gdk.Event:
        event = Gdk.Event.new(kind)
        event.window = self.view.get_window()
        event.send_event = True
        event.time = GLib.get_monotonic_time() // 1000
        event.state = self.held
        seat = Gdk.Display.get_default().get_default_seat()
        typed = kind in (Gdk.EventType.KEY_PRESS, Gdk.EventType.KEY_RELEASE)
        event.set_device(seat.get_keyboard() if typed else seat.get_pointer())
        return event

    def _pointer_event(self, kind: Gdk.EventType, button: int = 0) -> None:
        event = self._event(kind)
        event.x, event.y = self.pointer
        event.x_root, event.y_root = self.pointer
        if button:
            event.button.button = button
        Gtk.main_do_event(event)

    def point(self, action: Json) -> None:
        """Move, press or let go, as a pointer's action says."""
        if action["type"] == "pointerMove":
            self.pointer = (float(action["x"]), float(action["y"]))
            self._pointer_event(Gdk.EventType.MOTION_NOTIFY)
        elif action["type"] == "pointerDown":
            button = BUTTONS[action["button"]]
            self._pointer_event(Gdk.EventType.BUTTON_PRESS, button)
            self.held |= BUTTON_MASKS[button]
        elif action["type"] == "pointerUp":
            button = BUTTONS[action["button"]]
            self._pointer_event(Gdk.EventType.BUTTON_RELEASE, button)
            self.held &= ~BUTTON_MASKS[button]

    def scroll(self, action: Json) -> None:
        """Turn the wheel."""
        self.pointer = (float(action["x"]), float(action["y"]))
        event = self._event(Gdk.EventType.SCROLL)
        event.x, event.y = self.pointer
        event.scroll.direction = Gdk.ScrollDirection.SMOOTH
        event.scroll.delta_x = action["deltaX"] / PIXELS_A_NOTCH
        event.scroll.delta_y = action["deltaY"] / PIXELS_A_NOTCH
        Gtk.main_do_event(event)

    def type_key(self, action: Json) -> None:
        """Press a key or let it go."""
        name = SPECIAL_KEYS.get(action["value"], "")
        value = Gdk.keyval_from_name(name) if name else Gdk.unicode_to_keyval(ord(action["value"]))
        down = action["type"] == "keyDown"
        event = self._event(Gdk.EventType.KEY_PRESS if down else Gdk.EventType.KEY_RELEASE)
        event.keyval = value
        keymap = Gdk.Keymap.get_for_display(Gdk.Display.get_default())
        there, entries = keymap.get_entries_for_keyval(value)
        if there and entries:
            event.hardware_keycode = entries[0].keycode
        Gtk.main_do_event(event)
        mask = MODIFIERS.get(name, Gdk.ModifierType(0))
        self.held = self.held | mask if down else self.held & ~mask
