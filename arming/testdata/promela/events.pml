/* What may happen. Below E_WORLD the machine is told; the rest only moves the
   world. table.h and the Go side know these numbers. */
#define E_NONE      0
/* requests that wait for their line on disk */
#define E_PROOF     1
#define E_OPEN      2
#define E_ENTRY     3
#define E_CODE      4
#define E_START     5
#define E_RESUME    6
#define E_REST      7
#define E_SHUNTED   8
#define E_FIRE      9
#define E_GO        10
#define E_INSPECT   11
#define E_RESULT    12
#define E_ALLCLEAR  13
#define E_A_DEAD    14
#define E_A_SHUNT   15
#define E_OTHERS    16   /* another than the firing officer wants the count to go on */
#define E_A_OFF     17
#define E_A_CLEAR   18
#define E_A_CONT    19
#define E_A_BATT    20
#define E_LASTREQUEST 20
/* what acts at once */
#define E_HOLD      21
#define E_MOVEMENT  22
#define E_SCRUB     23
#define E_CODEBAD   24
#define E_COUNT     25   /* of exactly those who stand behind the line */
#define E_WITHDRAW  26
#define E_RECFAIL   27
#define E_STALLED   28
#define E_FOCUS     29
/* time */
#define E_TICK      30
#define E_T_STALE   31
#define E_T_SHORT   32
#define E_T_PAUSE   33   /* the count comes to a pause of the plan */
#define E_T_CONT    34
#define E_T_LIMIT   35
#define E_T_LATE    36
#define E_T_GAP     37
#define E_T_CLOCKS  38
/* the box and the link */
#define E_READ      39   /* and the KEEP that follows comes through */
#define E_LOST      40
#define E_UP        41
#define E_NEWBOX    42
/* told in a step that follows another at once */
#define E_WRITTEN   44
#define E_TRIP      45
#define E_WELD      46
#define E_EARLY     48
#define E_MISCOUNT  49
#define E_BEGIN     50   /* the program starts, with what the record says */
/* other readings: the machine is told E_READ */
#define E_READTRIP  55   /* and bit 1 told: the watchdog opened the permit */
#define E_READEARLY 56   /* and bit 2 told: pressed while the permit was open */
#define E_READHELD  57   /* and the KEEP stays in the cable */
#define E_READNONE  58   /* the scan under the lease is not whole yet */
#define E_READOPEN  59   /* a lead is loose: the channel reads open */
/* the world */
#define E_WORLD     60
#define E_KEYIN     61
#define E_KEYOUT    62
#define E_BATTON    63
#define E_BATTOFF   64
#define E_PRESS     65
#define E_RELEASE   66
#define E_GOES      67
#define E_COMES     68
#define E_CONNECT   69
#define E_FAULT1    71
#define E_FAULT2    72
#define E_FAULT3    73
#define E_FAULT4    74
#define E_MEND      75
#define E_STALLS    76
#define E_BACK      77
#define E_LATEBYTES 78
#define E_LEASEOUT  79
#define E_DIES      81
#define E_DIESLATE  82
#define E_STARTS    83
#define E_COOPERATE 90
