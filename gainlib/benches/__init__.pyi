from .bench_panel import Bench as Bench
from .book_panel import ExerciseBook as ExerciseBook
from .controls import Control as Control
from .exercise_panel import OpenExercise as OpenExercise
from .survey_on_bench import SurveyOnBench as SurveyOnBench
