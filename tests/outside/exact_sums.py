"""Distribution functions of sums by quadrature in value space and by rational arithmetic, for crates/spread/src/exact/tests.rs.

mpmath 1.4.1, 30 digits: another way than the characteristic functions that the program inverts. Prints; about 12 s.
"""
from mpmath import *
from fractions import Fraction
mp.dps=30
Phi=lambda z: erfc(-z/sqrt(mpf(2)))/2
def cdf_norm_plus(pdf,pts,s,x):
    # F(x)=∫ pdf(y)Φ((x-y)/s)dy
    p=sorted(set([mpf(q) for q in pts]+[x+k*s for k in (-6,-3,-1,0,1,3,6) if pts[0]<x+k*s<pts[-1]]))
    return quad(lambda y: pdf(y)*Phi((x-y)/s),p)
def arc(h): return lambda y: 1/(pi*sqrt(mpf(h)**2-y**2)) if abs(y)<h else mpf(0)
def ctrap(w,d):
    w,d=mpf(w),mpf(d)
    return lambda y: log((w+d)/max(abs(y),w-d))/(4*d)
def gam(k,t):
    k,t=mpf(k),mpf(t)
    return lambda y: y**(k-1)*exp(-y/t)/(gamma(k)*t**k)
def logn(m,s):
    m,s=mpf(m),mpf(s); v=log(1+(s/m)**2); mu=log(m)-v/2
    return lambda y: exp(-(log(y)-mu)**2/(2*v))/(y*sqrt(2*pi*v))
def trunc(m,s,a,b):
    m,s,a,b=map(mpf,(m,s,a,b)); Z=Phi((b-m)/s)-Phi((a-m)/s)
    return lambda y: npdf(y,m,s)/Z
def tt(nu,loc,sc):
    nu,loc,sc=map(mpf,(nu,loc,sc))
    return lambda y: gamma((nu+1)/2)/(gamma(nu/2)*sqrt(nu*pi)*sc)*(1+((y-loc)/sc)**2/nu)**(-(nu+1)/2)
def tri(h): return lambda y: (h-abs(y))/mpf(h)**2
S=lambda v: nstr(v,15)
print("// normal sd 0.3 plus")
for name,pdf,pts,s,xs in [
 ("arcsine(-1,1)",arc(1),[-1,-.9,0,.9,1],mpf('0.3'),[-1.7,-.2,.6,1.9]),
 ("ctrap(-1,1,.25)",ctrap(1,.25),[-1.25,-.75,0,.75,1.25],mpf('0.3'),[-1.7,-.2,.6,1.9]),
 ("gamma(2.5,.4)",gam(2.5,mpf('.4')),[0,.2,.5,1,2,4,8,16,30],mpf('0.3'),[-.4,.7,1.5,5]),
 ("exponential(1)",gam(1,1),[0,.5,1,2,4,8,16,40,80],mpf('0.3'),[-.6,.5,3,9]),
 ("lognormal(1,.4)",logn(1,mpf('.4')),[mpf('1e-4'),.2,.5,1,1.5,2.5,4,8,16,32],mpf('0.3'),[-.2,.7,1.5,4]),
 ("trunc(0,1,-.5,2)",trunc(0,1,-.5,2),[-.5,0,.5,1,2],mpf('0.3'),[-1.1,.1,1.4,2.7]),
 ("t(4,0,.5)",tt(4,0,.5),[-inf,-50,-10,-2,0,2,10,50,inf],mpf('0.3'),[-3,-.4,.9,8]),
 ("t(1,0,.1)",tt(1,0,mpf('.1')),[-inf,-50,-10,-2,-.2,0,.2,2,10,50,inf],mpf('0.3'),[-3,-.4,.9,40]),
 ("t(2,0,.2)",tt(2,0,mpf('.2')),[-inf,-50,-10,-2,-.2,0,.2,2,10,50,inf],mpf('0.3'),[-3,-.4,.9,8]),
 ("arcsine(-1,1) sd 1e-4",arc(1),[-1,-.9,0,.9,1],mpf('1e-4'),[-.9999,-.2,.6,1]),
]:
    print(name,[(x,S(cdf_norm_plus(pdf,pts,s,mpf(str(x))))) for x in xs])
def conv(cdfA,kA,pdfB,kB,x):
    p=sorted(set([mpf(q) for q in kB]+[x-mpf(k) for k in kA if kB[0]<x-mpf(k)<kB[-1]]))
    return quad(lambda y: cdfA(x-y)*pdfB(y),p)
arcF=lambda h: (lambda x: mpf(0) if x<=-h else mpf(1) if x>=h else mpf(1)/2+asin(x/mpf(h))/pi)
rectF=lambda h:(lambda x: max(mpf(0),min(mpf(1),(x+h)/(2*h))))
print("arc1+arc.4",[(x,S(conv(arcF(1),[-1,1],arc(mpf('.4')),[-mpf('.4'),0,mpf('.4')],mpf(str(x))))) for x in (-1.2,-.3,.65,1.1)])
print("rect.5+logn(1,.4)",[(x,S(conv(rectF(mpf('.5')),[-.5,.5],logn(1,mpf('.4')),[mpf('1e-6'),.05,.2,.5,1,1.5,2.5,4,8,16,32],mpf(str(x))))) for x in (.1,.9,2,4)])
print("rect.5+t(1,0,.1)",[(x,S(conv(rectF(mpf('.5')),[-.5,.5],tt(1,0,mpf('.1')),[-mpf(10)**17,-mpf(10)**13,-mpf(10)**9,-mpf(10)**6,-10000,-100,-10,-2,-.2,0,.2,2,10,100,10000,mpf(10)**6,mpf(10)**9,mpf(10)**13,mpf(10)**17],mpf(str(x))))) for x in (-2,.3,.6,10)])

def lognF(m,s):
    v=log(1+(mpf(s)/m)**2); mu=log(mpf(m))-v/2
    return lambda x: mpf(0) if x<=0 else Phi((log(x)-mu)/sqrt(v))
print("logn(1,.4)+gamma(2.5,.4)",[(x,S(conv(lognF(1,mpf('.4')),[0,.05,.2,.5,1,1.5,2.5,4,8],gam(2.5,mpf('.4')),[0,.2,.5,1,2,4,8,16,30],mpf(str(x))))) for x in (.5,1.5,3,6)])
# exact rational generalized Irwin-Hall
from itertools import product
from math import factorial
def gih(hs,x):
    hs=[Fraction(h) for h in hs]; x=Fraction(x); n=len(hs); lo=-sum(hs); tot=Fraction(0)
    for e in product((0,1),repeat=n):
        v=x-lo-sum(2*h for h,b in zip(hs,e) if b)
        if v>0: tot+=(-1)**sum(e)*v**n
    d=factorial(n)
    for h in hs: d*=2*h
    return tot/d
for hs,xs in [(['1','1/1000','1/1000000'],['-1','-9990005/10000000','0','1000001/1000000']),(['1/20','1/50','1/100','1/500'],['-7/100','-3/100','1/1000','8/100']),(['3/10','2/10','1/10','1/20','1/40'],['-6/10','-1/10','4/10','67/100'])]:
    print(hs,[(float(Fraction(x)),nstr(mpf(gih(hs,x).numerator)/gih(hs,x).denominator,15)) for x in xs])
def ih(n,x):
    x=Fraction(x); s=Fraction(0)
    for k in range(0,int(x)+1): s+=(-1)**k*Fraction(factorial(n),factorial(k)*factorial(n-k))*(x-k)**n
    return s/factorial(n)
for n,xs in [(1,['1/4']),(2,['1/2','17/10']),(3,['2/5','2']),(5,['1','3']),(8,['1','9/2','7']),(100,['40','50','505/10','62'])]:
    print(n,[(float(Fraction(x)),nstr(mpf(ih(n,x).numerator)/ih(n,x).denominator,15)) for x in xs])
