"""Shares outside by closed forms and quadrature, for crates/spread/src/rare/tests.rs (scipy 1.17.1, mpmath 1.4.1). Prints."""
import numpy as np
from scipy import integrate, stats
from mpmath import mp, mpf, quad, erfc, sqrt, exp, pi, inf, gammainc, gamma, nstr
mp.dps=25
Phi=lambda z: erfc(-z/sqrt(mpf(2)))/2
phi=lambda z: exp(-z*z/2)/sqrt(2*pi)
# product of two normals N(10,1)*N(10,1) > 160
L=160
f=lambda x: phi(x-10)*(Phi(-(L/x-10)) if x>0 else 0)
print('product', nstr(quad(f,[mpf('0.5'),5,8,10,12,14,16,18,22]),15))
# parabola: u1 > 4 + 0.1*sum_{2..5} u_k^2  : P = E[Phi(-(4+0.1 Q))], Q chi2(4)
chi=lambda q,k: q**(mpf(k)/2-1)*exp(-q/2)/(2**(mpf(k)/2)*gamma(mpf(k)/2))
print('parabola', nstr(quad(lambda q: chi(q,4)*Phi(-(4+mpf('0.1')*q)),[0,1,5,20,60,200]),15))
print('parabola towards', nstr(quad(lambda q: chi(q,4)*Phi(-(5-mpf('0.1')*q)),[0,1,5,10,20,30,40,50,60,80,100,150,250]),15))
for d,r in [(2,5),(4,5.5)]:
    print('sphere',d,r, stats.chi2.sf(r*r,d))
print('series', 1-stats.norm.cdf(4)**2, stats.norm.sf(4)*2-stats.norm.sf(4)**2)
print('expo sum 5, > 20', stats.gamma.sf(20,5))
print('lognormal product', stats.norm.sf((np.log(3.0))/np.sqrt(3*0.04)))
# sum of two corr normals rho=.6 > 5.5: sd = sqrt(2+1.2)
print('corr', stats.norm.sf(7.5/np.sqrt(3.2)))
print('edge', stats.norm.sf(4.2)+stats.norm.sf(4.6))
