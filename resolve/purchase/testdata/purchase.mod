# The purchase plan as a mixed integer program, written from the meaning of the
# problem and not from the planner: tiers of price by big M, freight and limits by
# binaries, what serves for what by flows.

set SUPPLIER;
set OFFER;
set ITEM;
set WANTED;                       # items that ways want
set NEED;
set WAY;

param of{WAY}, symbolic;          # the need that a way is for
param wants{WAY, WANTED}, default 0;
param shelf{ITEM}, default 0;
set SERVES, within ITEM cross WANTED;

param freight{SUPPLIER}, default 0;
param free{SUPPLIER}, default 0;  # 0: never
param least{SUPPLIER}, default 0;
param at{OFFER}, symbolic;        # supplier
param gives{OFFER, ITEM}, default 0;

set TIER, within OFFER cross 1..9;
param from{TIER};
param upto{TIER};
param cost{TIER};                 # a pack, in the plan's currency
param value{TIER};                # a pack, in the supplier's

param delivery, default 0;        # what a delivery counts for in the aim
param deliveries, default 999;    # deliveries at most

var n{TIER}, integer, >= 0;
var on{TIER}, binary;
var order{SUPPLIER}, binary;
var gift{SUPPLIER}, binary;       # freight is free
var way{WAY}, binary;
var use{SERVES}, >= 0;

minimize total: sum{(o,t) in TIER} cost[o,t] * n[o,t]
  + sum{s in SUPPLIER} ((freight[s] + delivery) * order[s] - freight[s] * gift[s]);

s.t. floor{(o,t) in TIER}: n[o,t] >= from[o,t] * on[o,t];
s.t. roof{(o,t) in TIER}: n[o,t] <= upto[o,t] * on[o,t];
s.t. one{o in OFFER}: sum{(o,t) in TIER} on[o,t] <= order[at[o]];
s.t. minimum{s in SUPPLIER: least[s] > 0}: sum{(o,t) in TIER: at[o] = s} value[o,t] * n[o,t] >= least[s] * order[s];
s.t. limit{s in SUPPLIER: free[s] > 0}: sum{(o,t) in TIER: at[o] = s} value[o,t] * n[o,t] >= free[s] * gift[s];
s.t. given{s in SUPPLIER}: gift[s] <= if free[s] > 0 then order[s] else 0;
s.t. choose{k in NEED}: sum{w in WAY: of[w] = k} way[w] = 1;
s.t. have{i in ITEM}: sum{(i,j) in SERVES} use[i,j] <= shelf[i] + sum{(o,t) in TIER: gives[o,i] > 0} gives[o,i] * n[o,t];
s.t. cover{j in WANTED}: sum{(i,j) in SERVES} use[i,j] >= sum{w in WAY} wants[w,j] * way[w];
s.t. few: sum{s in SUPPLIER} order[s] <= deliveries;

solve;
printf "TOTAL %.6f\n", total;
end;
