"""The invented clinic, seeded, with its planted truth: INVENTED, no real patient, clinic or brand.

The causal story, in the order in which it happens (every figure in ``story``):

1. People call, more each year, most in January. One ear is blocked, or both.
2. The call lets the clinic suspect hard or full wax; then softening is advised
   more often. Most advised people soften, a few do so unasked.
3. Grade and debris are as first seen; softening does not change them (assumed).
4. A first attempt clears less often where the wax is hard, full or impacted or
   the canal narrow, more often after softening. So the advised look no better
   unadjusted, though softening helps.
5. A visit takes an overhead, a part for each ear by grade and first method
   (a softened occluding ear's part is a quarter shorter), a part for the kind
   of booking and for the practitioner. A second method is a sign of
   difficulty, no cause of it.
6. A cleared ear occludes again after a Weibull time, sooner with a hearing aid
   or cotton buds; a patient's ears share a frailty. An ear found open and left
   alone keeps its clock.
7. The first troublesome ear brings the patient back some weeks after it
   occludes, or a recall does; some never come back, whatever happens.
"""

from analysis.demo.invented import Invented, invented_clinic

__all__ = ["Invented", "invented_clinic"]
