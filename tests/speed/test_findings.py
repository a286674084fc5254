"""All that is found out about a shot by geometry, and every rule, against plain distance queries of the collision library."""

from pathlib import Path

import fcl
import numpy as np

from previz.build.load import load_set
from previz.camera.view import axes
from previz.check import report  # noqa: F401  (importing registers the rules)
from previz.check.finding import findings
from previz.check.focus import sharpness
from previz.check.gear import Around
from previz.check.seen import Looker
from previz.check.shown import shown
from previz.check.study import study_set
from previz.rays.lit import light_set
from previz.rig.clearance import clearance
from previz.rig.demand import demand
from previz.rig.framing import framing
from previz.rig.moves import plan_move

SCENE = Path(__file__).parents[2] / "scenes" / "clockmakers-attic.toml"
QUERIES = 120 * 200
ASKED = 2_400
"""So many are asked, and their time taken for all: one query costs what the next one does."""


def test_findings_of_a_shot(figures, seconds):
    """Move, clearance, framing, focus, light against camera, rig and every rule on them: no more than 24,000 plain queries."""
    file, built = load_set(SCENE)
    scene, shot = file.scene, file.scene.shot[1]
    lit = light_set(scene.model_copy(update={"shot": (shot,)}), built, texels=1500, rays=16)
    study = study_set(lit)
    mesh = fcl.BVHModel()
    mesh.beginModel(len(built.triangles), len(built.vertices))
    mesh.addSubModel(built.vertices, built.triangles)
    mesh.endModel()
    obstacles, (length, diameter) = fcl.CollisionObject(mesh), scene.lens.barrel[0]
    move = plan_move(scene, shot, built)
    poses = move.poses(np.linspace(0, move.take_s, ASKED))

    def placed(pose):
        forward, left, up = axes(pose.pan, pose.tilt)
        turn = np.column_stack([up, -left, forward])
        return fcl.CollisionObject(fcl.Cylinder(diameter / 2, length), fcl.Transform(turn, pose.position - length / 2 * forward))

    bodies = [placed(poses[i]) for i in range(ASKED)]

    def plain():
        for body in bodies:
            fcl.distance(body, obstacles, fcl.DistanceRequest(), fcl.DistanceResult())

    def found():
        move = plan_move(scene, shot, built)
        clearance(built, scene, move)
        framing(built, lit.tracer, scene, shot, move)
        sharpness(built, lit.tracer, scene, shot, move)
        Looker(built, lit.tracer).seen(scene, move)
        shown(built, lit.tracer, scene, move, study.shots[0].shafts)
        Around(built, lit.tracer).gear(scene, shot, move)
        demand(scene, shot, move), move.speeds()
        findings(study)

    plain_s, found_s = seconds(plain, found, times=3)
    plain_s *= QUERIES / ASKED
    figures.keep("findings", queries=QUERIES, plain_queries_seconds=plain_s, found_seconds=found_s, share=found_s / plain_s)
    assert found_s <= plain_s
