"""The room sheet: one page to print for whoever holds the workshop, in plain words."""

from html import escape
from string import Template

from .assets import page_head
from .room import Room
from .room_pages import then_choose
from .visitors import Visitors

_SHEET = Template("""$head<body class="pz-sheet">
<main>
<h1>Room sheet</h1>
<div class="pz-top">
$qr
<div>
<p>Everybody opens</p>
<p class="pz-address">$address</p>
$then<p>$seats</p>
</div>
</div>

<h2>Before the day</h2>
<ol>
<li>At home, with internet, run <code>make serve</code> once. After that the computer needs no internet any more. For
several computers run <code>make bundle</code> and carry the folder on a memory stick.</li>
<li><code>make serve ARGS="--room --try 30"</code> says whether this computer holds thirty visitors. In
the room, start it with <code>make serve ARGS="--room"</code>, open the projector page and try one phone. It takes a
minute.</li>
<li>Bring the charger: thirty pages keep the computer busy. Switch its sleep off.</li>
</ol>
<h2>The network</h2>
<ul>
<li><b>The Wi-Fi may do without internet.</b> Phones then say “no internet” and offer to leave it. Stay in it: answer
“keep this connection”, or switch mobile data off for the lesson. A phone that goes back to mobile data no longer
finds the address.</li>
<li><b>Guest networks often keep devices apart</b> (called client isolation or AP isolation). Then nobody reaches this
computer although everybody is in the Wi-Fi. Ask whoever runs the network to switch it off, or use a router of your
own or this computer's hotspot. Many phones' and computers' hotspots take ten devices or fewer: try it before the
day.</li>
<li><b>The firewall may ask</b> when the server starts the first time: allow it for the network you are in (on
Windows, call the network private). If phones cannot reach the address but this computer can, it is the firewall or
client isolation.</li>
<li><b>A virtual private network</b> on a phone or laptop hides the room's network: switch it off for the lesson.</li>
</ul>
<h2>The address</h2>
<ul>
<li>Scan the code, or type the address by hand, with <b>http://</b> and all the digits and the colon. Some browsers
add https by themselves and then say that the page cannot be opened; a few show a warning that the page is not
encrypted. That is so: it stays in this room, and nobody signs in or enters anything private.</li>
<li>Over http a browser does not let a page use the microphone, except on the computer that serves it. Recordings are
made there, or with the phone's own recorder and opened as a file.</li>
<li>The address holds for this network only. If this computer gets another one, restart the server and scan
again.</li>
</ul>
<h2>During the lesson</h2>
<ul>
<li>Your own view, at the address “for you alone” of the terminal: who is where, who waits; mute all, release
a seat.</li>
<li>When every seat is taken, the next ones see their place in the line and come in by themselves.</li>
<li>A page that nobody touches gives its seat back after a while. “Carry on” brings it back with its chain; what was
kept and solved is in that browser. Recordings are not kept: save them first.</li>
<li>If the server stops, start it again: the open pages say so and come back with their chain. The counts on the
projector go on if that is within a quarter of an hour.</li>
<li>Private windows forget what was kept when they are closed.</li>
</ul>
<h2>Take care</h2>
<ul class="pz-caution">
<li>Hearing: volume down and headphones off first; power on before volume up.</li>
<li>Soldering: burns; open a window against the fume; wash hands after leaded solder; guard the eyes when clipping
wire.</li>
<li>A battery that is shorted gets hot and can burst. Hot: switch off, unclip, put it down away from people; leave a
swollen one alone.</li>
<li>Nobody opens mains-powered gear, and nobody removes or bypasses a protective earth. Cables and outlet strips so
that nobody trips.</li>
<li>The figures are estimates from typical data, not a certificate.</li>
</ul>
</main>
</body>
</html>
""")


class RoomSheetHandler(Visitors):
    """The sheet, with the room's address and code where a room is being served."""

    def initialize(self, room: Room | None) -> None:
        self._room = room

    def get(self) -> None:
        room = self._room
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        self.finish(
            _SHEET.substitute(
                head=page_head(self.settings["static"], "Room sheet"),
                qr=f'<div class="pz-qr">{room.qr_svg()}</div>' if room else "",
                then=then_choose(room.lesson.title) if room and room.lesson else "",
                address=escape(room.address.rstrip("/")) if room else "http:// . . . . . . . . : . . . .",
                seats=f"There are {room.seats.limit} seats." if room else "The server says the address when it starts.",
            )
        )
