"""Least-cost tolerances by scipy 1.17.1 SLSQP, for crates/spread/src/allocate/tests.rs. Prints."""
# least cost b/t^k under sum (t/3)^2 = V, V from 2*Phi(-m/sd)=0.0027, m=0.1
import numpy as np
from scipy import optimize, stats
m=0.1; c=0.0027
V=(m/stats.norm.isf(c/2))**2
b=np.array([1.0,3.0,0.5,2.0]); k=np.array([1.0,1.5,0.8,2.0]); fixed=(0.02/3)**2
f=lambda x: np.sum(b*np.exp(-k*x))
con={'type':'eq','fun':lambda x: (np.sum(np.exp(2*x)/9)+fixed)/V-1,'jac':lambda x: 2*np.exp(2*x)/9/V}
r=optimize.minimize(f,np.log(np.full(4,.05)),jac=lambda x:-b*k*np.exp(-k*x),constraints=[con],method='SLSQP',options={'ftol':1e-14,'maxiter':1000})
print(r.success,repr(np.exp(r.x)),r.fun)
