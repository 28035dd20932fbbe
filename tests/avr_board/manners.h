/* How the board of firmware.c talks and stores lines, chosen when it is compiled by MANNER.

   CLASS is a manner of our own. CAPITAL and TOKEN are those of the practice kinds capital and token
   (hostlink/practice/kinds), as far as a board goes that only keeps programs: nothing runs. */

#define CLASS 0
#define CAPITAL 1
#define TOKEN 2
#ifndef MANNER
#define MANNER CLASS
#endif

/* PROGRAM_BYTES: for all lines; each takes LINE_BYTES beside what is kept of its text.
   LAST_NUMBER: of a line; beyond it numbers are refused, or wrap at 65536. ERASED: the answer to a
   character taken back; ERASED_BEYOND: how often it is given where none is left. TOO_LONG: the
   answer to each character beyond LONGEST_LINE. BREAK_KEY stops LIST; it gives a line up while one
   is typed, or is text there. */
#if MANNER == CLASS
#define GREETING END "evening class board, 999 bytes for a program" END
#define PROMPT "+ "
#define END "\r\n"
#define PROGRAM_BYTES 999
#define LINE_BYTES 3
#define LONGEST_LINE 72
#define LAST_NUMBER 32767UL
#define NUMBERS_WRAP false
#define BAD_NUMBER "no: lines are 1 to 32767" END
#define HALTED "halted" END
#define BREAK_KEY CTRL_C
#define BREAK_IS_TEXT false
#define ERASED "\b \b"
#define ERASED_BEYOND 0
#define TOO_LONG "\a"
#elif MANNER == CAPITAL
#define GREETING "evening class BASIC, capitals" END
#define PROMPT ">"
#define END "\n\r"
#define PROGRAM_BYTES 1039
#define LINE_BYTES 4
#define LONGEST_LINE 249
#define LAST_NUMBER 65529UL
#define NUMBERS_WRAP false
#define BAD_NUMBER "How?" END
#define HALTED "break!" END "OK" END
#define BREAK_KEY CTRL_C
#define BREAK_IS_TEXT true
#define ERASED "\b \b" END
#define ERASED_BEYOND 2
#define TOO_LONG "\b"
#elif MANNER == TOKEN
#define GREETING "evening class BASIC, tokens Memory 1169 1024" END
#define PROMPT "> "
#define END "\n"
#define PROGRAM_BYTES 1169
#define LINE_BYTES 3
#define LONGEST_LINE 77
#define LAST_NUMBER 65535UL
#define NUMBERS_WRAP true
#define BAD_NUMBER "Unknown Line Error" END
#define HALTED ""
#define BREAK_KEY '#'
#define BREAK_IS_TEXT true
#define ERASED "\b"
#define ERASED_BEYOND 0
#define TOO_LONG ""
#endif
