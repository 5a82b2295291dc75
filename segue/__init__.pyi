from segue.analysis.overrides import Overrides as Overrides
from segue.api.changing import change as change
from segue.api.changing import plan_change as plan_change
from segue.api.changing import read_run as read_run
from segue.api.changing import recipe_of as recipe_of
from segue.api.changing import redo as redo
from segue.api.changing import undo as undo
from segue.api.main_job import Option as Option
from segue.api.main_job import Segues as Segues
from segue.api.main_job import Wishes as Wishes
from segue.api.main_job import between as between
from segue.api.many_songs import build_catalogue as build_catalogue
from segue.api.many_songs import make_evening as make_evening
from segue.api.many_songs import neighbours_of as neighbours_of
from segue.api.many_songs import plan_evening as plan_evening
from segue.api.stages import hear_edge as hear_edge
from segue.api.stages import plan_segue as plan_segue
from segue.api.stages import read_edge as read_edge
from segue.api.stages import render_segue as render_segue
from segue.api.stages import score_segue as score_segue
from segue.errors import SegueError as SegueError
from segue.job.changes import Changes as Changes
from segue.music.key import parse_key as parse_key
from segue.recipes import Recipe as Recipe
from segue.recipes import load_recipe as load_recipe

__version__: str
