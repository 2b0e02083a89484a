"""Golden lines and frames, fixed as bytes: the examples of the specification.

Made once with CPython's json, zlib and int.to_bytes, not with the code under test. They change only with the wire's or
the record's version.
"""

# (what it is, the line)
LINES = (
    (
        "a status line: holding, all well",
        b'{"status":17,"t":61000,"state":"hold","stage":"work","water":33125,"bowl":31500,"est":0,"target"'
        b':31500,"water_target":33300,"duty":2345,"on":240,"fault":0,"warn":0,"ask":"","drops":0}*2524CF4F'
        b'\n',
    ),
    (
        "a status line: latched, no water reading, nothing running",
        b'{"status":18,"t":0,"state":"trip","stage":"","water":null,"bowl":null,"est":0,"target":null,"wat'
        b'er_target":null,"duty":0,"on":0,"fault":1,"warn":0,"ask":"","drops":3}*D8182390\n',
    ),
    (
        "an event",
        b'{"event":"trip","n":5,"t":61000,"fault":1,"latched":true}*588B5D1D\n',
    ),
    (
        "a request",
        b'{"id":7,"do":"start","stage":"work","for_ms":13200000,"room":20000}*91A04E3C\n',
    ),
    (
        "its answer",
        b'{"re":7,"ok":true,"low":31000,"target":31500,"high":32000,"ceiling":34500,"limit":36500,"check_s'
        b'":94,"short":0}*556E79F5\n',
    ),
    (
        "a request that is refused",
        b'{"id":8,"do":"start","stage":"work","room":68000}*18C1C7B2\n',
    ),
    (
        "why",
        b'{"re":8,"ok":false,"why":"start: room: got 68000, wanted a number of thousandths of a \\u00b0C fr'
        b'om 5000 to 40000; that looks like \\u00b0F"}*21736B2B\n',
    ),
    (
        "the answer to a line that was no message",
        b'{"re":null,"ok":false,"why":"wrong check value: the line was damaged"}*A0CC1AC1\n',
    ),
    (
        "a document comes in: its announcement",
        b'{"id":9,"do":"begin","what":"settings","size":31,"sha256":"7a76ed913ab91f5c806c67809af9f47d2e101'
        b'94664110eeb8ef0ed867f06dcfa"}*0D0BF305\n',
    ),
    (
        "taken",
        b'{"re":9,"ok":true,"size":31}*5F0CE1E9\n',
    ),
    (
        "its one piece",
        b'{"id":10,"do":"chunk","at":0,"data":"eyJoZWF0ZXJfdyI6NjAuMCwid2F0ZXJfbCI6MS41fQ=="}*AA40AAF4\n',
    ),
    (
        "taken, up to here",
        b'{"re":10,"ok":true,"at":31}*31E2FF24\n',
    ),
    (
        "its end",
        b'{"id":11,"do":"commit"}*DCE06B7D\n',
    ),
    (
        "checked, stored",
        b'{"re":11,"ok":true,"what":"settings","size":31}*39B04B13\n',
    ),
    (
        "a document goes out: the request",
        b'{"id":12,"do":"send","what":"settings"}*DA798EF5\n',
    ),
    (
        "what is coming",
        b'{"re":12,"ok":true,"size":31,"sha256":"7a76ed913ab91f5c806c67809af9f47d2e10194664110eeb8ef0ed867'
        b'f06dcfa"}*0F4A10DD\n',
    ),
    (
        "a piece is asked for",
        b'{"id":13,"do":"chunk","at":0}*A2C0838B\n',
    ),
    (
        "the piece",
        b'{"re":13,"ok":true,"at":0,"data":"eyJoZWF0ZXJfdyI6NjAuMCwid2F0ZXJfbCI6MS41fQ=="}*541D8672\n',
    ),
    (
        "every kind of value and escape",
        b'{"text":"\\" \\\\ \\u0003 \\u00b0","whole":-1,"part":0.5,"yes":true,"no":false,"none":null}*CA1D14E4\n',
    ),
    (
        "which segments there are",
        b'{"id":14,"do":"segments","after":0}*21C17B56\n',
    ),
    (
        "the first of them",
        b'{"re":14,"ok":true,"first":497,"last":567,"size":16265,"crc":"cbf43926","left":1}*33AE26CF\n',
    ),
    (
        "a piece of the log is asked for",
        b'{"id":15,"do":"read","segment":568,"at":0}*FB0AF586\n',
    ),
    (
        "the piece of the log",
        b'{"re":15,"ok":true,"at":0,"data":"uhoQOAIAAEwAAQ8AAwAHAAAAiBMAAADSSWsCAhwA0AEBAEjuAAACBcJnlmSWZB'
        b'poKQlgCQAAAAAAAAMYANABAQBI7gAAeyJldmVudCI6Indhcm0ifboWJ0c="}*76202F0E\n',
    ),
    (
        "what is safe may go",
        b'{"id":16,"do":"forget","through":567}*C2156F12\n',
    ),
    (
        "how many will",
        b'{"re":16,"ok":true,"going":1}*7E19482F\n',
    ),
    (
        "the time of day",
        b'{"id":17,"do":"clock","wall_s":1800000000}*0D1A3C20\n',
    ),
)

# (what it is, kind, sequence, payload, the frame in hex)
FRAMES = (
    (
        "settings, first save", 1, 1, b'{"heater_w":60.0,"water_l":1.5}',
        "ba1a01010000001f007b226865617465725f77223a36302e302c2277617465725f6c223a312e357d0e96968e",
    ),
    (
        "latch: the water probe failed 61 s into the hold", 3, 2, b'{"fault":1,"t":61000}',
        "ba1a030200000015007b226661756c74223a312c2274223a36313030307d866e56b9",
    ),
    (
        "latch: cleared", 3, 3, b'{"fault":0,"t":0}',
        "ba1a030300000011007b226661756c74223a302c2274223a307d3db1478b",
    ),
    (
        "the shortest frame", 0, 0, b"",
        "ba1a000000000000004e7338d6",
    ),
    (
        "the highest numbers", 255, 4294967295, b"\xff",
        "ba1affffffffff0100ffb418a82b",
    ),
    (
        "the log: where it is, a status, an event", 16, 568, bytes.fromhex(
            "010f000300070000008813000000d2496b02021c00d001010048ee00000205c267966496641a68290960090000000000"
            "00031800d001010048ee00007b226576656e74223a227761726d227d"
        ),
        "ba1a10380200004c00010f000300070000008813000000d2496b02021c00d001010048ee00000205c267966496641a68"
        "29096009000000000000031800d001010048ee00007b226576656e74223a227761726d227dba162747",
    ),
)
