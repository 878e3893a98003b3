# What the demo's orders cost at least, written for GLPK apart from the planner: the
# data are made by a reader of its own from the CSV tables, and the formulation is
# another one: companions that another line brings are a row of the model here.

set NEEDS;
set WAYS dimen 2;                       # need, way
set ITEMS;
set WANTS dimen 3;                      # need, way, item: bought
set COMPS dimen 3;                      # need, way, item: must come along
param want{WANTS};                      # pieces of the contents wanted
param comp{COMPS};
set BRINGS dimen 5;                     # need, way, item, need, way: the second way brings the companion of the first
param shelf{ITEMS}, default 0;

set SUPPLIERS;
param freight{SUPPLIERS}, default 0;
param free{SUPPLIERS}, default 0;       # 0 for never
param least{SUPPLIERS}, default 0;
set TIERS dimen 3;                      # supplier, stock number, from how many packs
param price{TIERS};
param upto{TIERS};
set HOLDS dimen 3;                      # supplier, stock number, item
param holds{HOLDS};
set POURED dimen 3;                     # supplier, stock number, item: a fluid, bought only where it is filled in
set OFFERS := setof{(s,o,t) in TIERS} (s,o);
param most{OFFERS};

var z{WAYS}, binary;
var v{COMPS}, >= 0;                     # 1 where the companion has to be got
var x{TIERS}, integer, >= 0;
var y{TIERS}, binary;
var u{SUPPLIERS}, binary;
var f{SUPPLIERS}, binary;

minimize total: sum{(s,o,t) in TIERS} price[s,o,t] * x[s,o,t] + sum{s in SUPPLIERS} freight[s] * (u[s] - f[s]);

one{n in NEEDS}: sum{(n,w) in WAYS} z[n,w] = 1;
along{(n,w,i) in COMPS}: v[n,w,i] >= z[n,w] - sum{(n,w,i,m,k) in BRINGS} z[m,k];
enough{i in ITEMS}:
  shelf[i] + sum{(s,o,i) in HOLDS, (s,o,t) in TIERS} holds[s,o,i] * x[s,o,t]
  >= sum{(n,w,i) in WANTS} want[n,w,i] * z[n,w] + sum{(n,w,i) in COMPS} comp[n,w,i] * v[n,w,i];
tier{(s,o) in OFFERS}: sum{(s,o,t) in TIERS} y[s,o,t] <= 1;
above{(s,o,t) in TIERS}: x[s,o,t] >= t * y[s,o,t];
below{(s,o,t) in TIERS}: x[s,o,t] <= upto[s,o,t] * y[s,o,t];
used{(s,o) in OFFERS}: sum{(s,o,t) in TIERS} x[s,o,t] <= most[s,o] * u[s];
kind{(s,o,i) in POURED}: sum{(s,o,t) in TIERS} x[s,o,t] <= most[s,o] * sum{(n,w,i) in WANTS} z[n,w];
minimum{s in SUPPLIERS}: sum{(s,o,t) in TIERS} price[s,o,t] * x[s,o,t] >= least[s] * u[s];
freed{s in SUPPLIERS}: f[s] <= u[s];
never{s in SUPPLIERS: free[s] = 0}: f[s] = 0;
limit{s in SUPPLIERS: free[s] > 0}: sum{(s,o,t) in TIERS} price[s,o,t] * x[s,o,t] >= free[s] * f[s];

solve;
printf "total %.4f\n", total;
end;
