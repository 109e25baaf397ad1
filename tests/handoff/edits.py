"""Edit decision lists as different systems write them: our own text, from the format's description.

CMX 3600 is an 8-column event line (number, reel, channels, kind, four timecodes), a ninth for the
length of a transition, and comments; what differs between systems is headers, line ends, spaces,
comment words, drop-frame separators and reel lengths.
"""

PLAIN = """TITLE: POTTERY R1
FCM: NON-DROP FRAME

001  A001C003 V     C        01:00:10:00 01:00:12:00 00:00:00:00 00:00:02:00
* FROM CLIP NAME:  A001C003.mov

002  B004     V     C        02:00:00:00 02:00:01:12 00:00:02:00 00:00:03:12
* FROM CLIP NAME:  B004 kiln close
* FROM CLIP: /media/night/B004.mov

003  A001C007 V     C        01:10:00:00 01:10:01:00 00:00:03:12 00:00:04:12
* FROM CLIP NAME:  A001C007.mov
* LOC: 00:00:03:20 RED     CHECK GLAZE
"""

WINDOWS = (
    PLAIN.replace("\n\n", "\n").replace("* FROM CLIP NAME:  ", "* FROM CLIP NAME: ")
).replace("\n", "\r\n")

HEADED = "* MADE BY SOME SYSTEM\n* LIST 1 OF 1\n" + PLAIN

DROP = PLAIN.replace("NON-DROP", "DROP").replace("00:00:", "00:01:")

TRANSITION = """TITLE: FADES
001  A001C003 V     C        01:00:10:00 01:00:12:00 00:00:00:00 00:00:02:00
* FROM CLIP NAME:  A001C003.mov
002  A001C003 V     C        01:00:12:00 01:00:12:00 00:00:02:00 00:00:02:00
002  B004     V     D    012 02:00:00:00 02:00:01:12 00:00:02:00 00:00:03:12
* FROM CLIP NAME:  A001C003.mov
* TO CLIP NAME:  B004 kiln close
003  B004     V     C        02:00:01:12 02:00:01:12 00:00:03:12 00:00:03:12
003  BL       V     D    012 00:00:00:00 00:00:00:12 00:00:03:12 00:00:04:00
* FROM CLIP NAME:  B004 kiln close
"""

SOUND = """TITLE: SOUND TOO
001  A001C003 B     C        01:00:10:00 01:00:12:00 00:00:00:00 00:00:02:00
* FROM CLIP NAME:  A001C003.mov
002  MUSIC    A2    C        00:00:00:00 00:00:04:00 00:00:00:00 00:00:04:00
* FROM CLIP NAME:  a song.wav
003  BL       V     C        00:00:00:00 00:00:00:12 00:00:02:00 00:00:02:12
004  A001C007 AA/V  C        01:10:00:00 01:10:01:00 00:00:02:12 00:00:03:12
M2   A001C007       012.0                01:10:00:00
* FROM CLIP NAME:  A001C007.mov
"""

GRADED = """TITLE: GRADED BEFORE
001  A001C003 V     C        01:00:10:00 01:00:12:00 00:00:00:00 00:00:02:00
* FROM CLIP NAME:  A001C003.mov
*ASC_SOP (0.9 1.2 0.6)(0.1 -0.03 0)(1.25 1.0 1.0)
* ASC_SAT 0.5
* AMF_NAME old.amf
* AMF_UUID urn:uuid:00000000-0000-0000-0000-000000000000
* A NOTE THAT STAYS
"""

VARIANTS = {
    "plain": PLAIN,
    "windows": WINDOWS,
    "headed": HEADED,
    "drop": DROP,
    "transition": TRANSITION,
    "sound": SOUND,
    "graded": GRADED,
}
EVENTS = {
    "plain": 3, "windows": 3, "headed": 3, "drop": 3, "transition": 2, "sound": 2, "graded": 1
}  # fmt: skip
"""How many events bring a camera's picture."""
